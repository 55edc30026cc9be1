package pages

import (
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

const (
	// foundCoils and foundBatches are how many of each a search lists.
	foundCoils   = 50
	foundBatches = 20
)

// findView is the page of the one box for serial number, batch, design and
// date.
type findView struct {
	frame
	Text string
	// Day is the day asked for, written out; "" when the text is no date.
	Day       string
	Coils     []record.Measurement
	MoreCoils bool
	// Next is the cursor of the next page of a day, "" on the last.
	Next        string
	Batches     []batchRow
	MoreBatches bool
	Designs     []record.Design
}

// Nothing is true when nothing was found.
func (v findView) Nothing() bool {
	return len(v.Coils) == 0 && len(v.Batches) == 0 && len(v.Designs) == 0
}

// findPage looks for what a person typed or scanned. The serial number of a
// coil leads straight to it.
func (s coilPages) findPage(w http.ResponseWriter, r *http.Request) error {
	view := findView{frame: s.frame(coilsSection, "Coils"), Text: words.SerialRead(r.URL.Query().Get("q"))}
	day, isDay := parseDay(view.Text, s.Now())
	var err error
	switch {
	case view.Text == "":
		view.Coils, _, err = s.History.Measurements(r.Context(), record.Filter{Newest: true, Limit: foundCoils})
	case isDay:
		err = s.findDay(r, &view, day)
	default:
		err = s.findText(r, &view)
	}
	if err != nil {
		return err
	}
	if len(view.Coils)+len(view.Batches)+len(view.Designs) == 0 && view.Text != "" && !isDay {
		assembly, err := workshop.AssemblyOf(r.Context(), s.History, view.Text)
		if err != nil {
			return err
		}
		if assembly != nil {
			http.Redirect(w, r, pagePath("coils", assembly.First), http.StatusSeeOther)
			return nil
		}
	}
	if len(view.Coils) > 0 && view.Coils[0].Serial == view.Text || s.oneCoil(view) {
		http.Redirect(w, r, pagePath("coils", view.Coils[0].Serial), http.StatusSeeOther)
		return nil
	}
	return s.renderPage(w, "records/find", view)
}

// oneCoil is true when a search found the one coil that goes by that number,
// however it was typed, and nothing else.
func (s coilPages) oneCoil(v findView) bool {
	return v.Day == "" && len(v.Coils) == 1 && len(v.Batches) == 0 && len(v.Designs) == 0 &&
		strings.EqualFold(v.Coils[0].Serial, v.Text)
}

// findDay lists what was measured and opened on a local day.
func (s coilPages) findDay(r *http.Request, view *findView, day time.Time) (err error) {
	from, to := dayOf(day)
	view.Day = words.DayInWords(day)
	view.Coils, view.Next, err = s.History.Measurements(r.Context(),
		record.Filter{From: from, To: to, After: r.URL.Query().Get("after"), Limit: foundCoils})
	if err != nil {
		return err
	}
	var next string
	view.Batches, next, err = s.batches.batchRows(r, record.BatchSearch{OpenedFrom: from, OpenedTo: to, Limit: foundBatches})
	view.MoreBatches = next != ""
	return err
}

// findText lists the coils whose serial number begins so, and the batches and
// designs that have the text somewhere in their names.
func (s coilPages) findText(r *http.Request, view *findView) (err error) {
	view.Coils, view.MoreCoils, err = s.History.FindCoils(r.Context(), view.Text, foundCoils)
	if err != nil {
		return err
	}
	// The very coil leads the list, whatever else begins so.
	for i, m := range view.Coils {
		if m.Serial == view.Text {
			view.Coils[0], view.Coils[i] = view.Coils[i], view.Coils[0]
		}
	}
	var next string
	view.Batches, next, err = s.batches.batchRows(r, record.BatchSearch{Text: view.Text, Limit: foundBatches})
	if err != nil {
		return err
	}
	view.MoreBatches = next != ""
	designs, err := s.History.Designs(r.Context())
	for _, d := range designs {
		if strings.Contains(strings.ToLower(d.Name), strings.ToLower(view.Text)) {
			view.Designs = append(view.Designs, d)
		}
	}
	return err
}

// parseDay reads a date as people write it, or "today" or "yesterday", as a
// local day. An order of day and month that may be meant either way is no date.
func parseDay(text string, now time.Time) (time.Time, bool) {
	switch strings.ToLower(text) {
	case "today":
		return now.Local(), true
	case "yesterday":
		return now.Local().AddDate(0, 0, -1), true
	}
	for _, layout := range []string{"2006-01-02", "2006/01/02", "2.1.2006", "2 Jan 2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006"} {
		if day, err := time.ParseInLocation(layout, text, time.Local); err == nil {
			return day, true
		}
	}
	return time.Time{}, false
}
