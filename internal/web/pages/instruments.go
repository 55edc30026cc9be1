package pages

import (
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

const (
	// shownChecks is how many measurements of check standards a page lists.
	shownChecks = 20
	// shownZeros is how many lead zeros a page lists.
	shownZeros = 5
	// dueSoon is how long before its due date a calibration is spoken of.
	dueSoon = 30 * 24 * time.Hour
)

// instrumentView is one instrument of a bench as it stands.
type instrumentView struct {
	bench.Instrument
	// Name is what measurements call it.
	Name string
	// Last is the latest measurement made with it, for its accuracy; nil when
	// there is none.
	Last        *record.Measurement
	Calibration *calibrationToday // nil without one
}

// calibrationToday is a calibration as it stands today.
type calibrationToday struct {
	record.Calibration
	Overdue, Soon bool
}

// benchInstruments is what the pages show of the instruments of a bench.
type benchInstruments struct {
	Bench       string
	Instruments []instrumentView
	LeadZero    *record.LeadZero // in use; nil without one
}

// instrumentsView is the page of all instruments.
type instrumentsView struct {
	frame
	Benches []benchInstruments
}

func (s instrumentPages) instrumentsPage(w http.ResponseWriter, r *http.Request) error {
	view := instrumentsView{frame: s.frame(instrumentsSection, "Instruments")}
	for _, snapshot := range s.benches.Snapshots() {
		calibrations, err := s.History.Calibrations(r.Context(), snapshot.Bench)
		if err != nil {
			return err
		}
		zeros, err := s.History.LeadZeros(r.Context(), snapshot.Bench)
		if err != nil {
			return err
		}
		view.Benches = append(view.Benches, s.benchInstruments(snapshot, calibrations, zeros))
	}
	return s.renderPage(w, "records/instruments", view)
}

// benchInstruments puts together what is known of the instruments of a bench;
// calibrations and zeros are the newest first.
func (s instrumentPages) benchInstruments(snapshot bench.Snapshot, calibrations []record.Calibration,
	zeros []record.LeadZero) benchInstruments {
	view := benchInstruments{Bench: snapshot.Bench}
	for _, i := range []bench.Instrument{snapshot.Meter, snapshot.Probe} {
		if i.Driver == "" && i.Fault == "" {
			continue
		}
		one := instrumentView{Instrument: i, Name: snapshot.LabelOf(i)}
		one.Calibration = s.presentCalibration(calibrations, i.Role, snapshot.LabelsOf(i))
		if m := snapshot.Last; m != nil && (i.Role == record.Meter && m.Meter == one.Name || i.Role == record.Probe && m.Probe == one.Name) {
			one.Last = m
		}
		view.Instruments = append(view.Instruments, one)
	}
	view.LeadZero = workshop.LeadZeroInForce(zeros, s.Now(), snapshot.LabelsOf(snapshot.Meter)...)
	return view
}

// presentCalibration returns the calibration that is in force for an instrument
// now; nil without one.
func (s instrumentPages) presentCalibration(calibrations []record.Calibration, role record.Role, labels []string) *calibrationToday {
	now := s.Now()
	c := workshop.CalibrationInForce(calibrations, role, now, labels...)
	if c == nil {
		return nil
	}
	due := !c.DueAt.IsZero()
	overdue := due && c.DueAt.Before(now)
	return &calibrationToday{*c, overdue, due && !overdue && c.DueAt.Before(now.Add(dueSoon))}
}

// benchInstrumentsView is the page of the instruments of one bench.
type benchInstrumentsView struct {
	frame
	benchInstruments
	// Typed is true when a person reads the meter, so that nothing can be
	// measured by itself.
	Typed        bool
	Known        []record.Instrument // with which the bench has measured
	Calibrations []record.Calibration
	Zeros        []record.LeadZero
	Checks       []record.CheckMeasurement
	CheckChart   checkView
	Standard     *record.CheckMeasurement // the one measured last, to measure it again
	Saved        string                   // the id of what was just kept
	Forms        instrumentForms
}

// instrumentForms are the forms of the page; the one that was sent holds what
// was filled in.
type instrumentForms struct{ Leads, Standard, Calibration form }

func (s instrumentPages) benchInstrumentsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showInstruments(w, r, http.StatusOK, instrumentForms{})
}

func (s instrumentPages) showInstruments(w http.ResponseWriter, r *http.Request, status int, forms instrumentForms) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	kept, ctx, snapshot := s.History, r.Context(), b.Snapshot()
	view := benchInstrumentsView{
		frame: s.frame(instrumentsSection, "Instruments of bench "+snapshot.Bench),
		Typed: snapshot.Meter.Driver == "manual", Saved: r.URL.Query().Get("saved"), Forms: forms,
	}
	if view.Known, err = kept.Instruments(ctx, snapshot.Bench); err != nil {
		return err
	}
	if view.Calibrations, err = kept.Calibrations(ctx, snapshot.Bench); err != nil {
		return err
	}
	if view.Checks, err = kept.CheckMeasurements(ctx, record.CheckFilter{Bench: snapshot.Bench, Limit: shownChecks}); err != nil {
		return err
	}
	if view.CheckChart, err = s.checkChart(ctx, snapshot.Bench); err != nil {
		return err
	}
	if len(view.Checks) > 0 {
		view.Standard = &view.Checks[0]
	}
	zeros, err := kept.LeadZeros(ctx, snapshot.Bench)
	if err != nil {
		return err
	}
	view.benchInstruments = s.benchInstruments(snapshot, view.Calibrations, zeros)
	view.Zeros = zeros[:min(len(zeros), shownZeros)]
	return s.renderPageAs(w, status, "records/bench-instruments", view)
}

// savedPath leads back to a part of the page, which then shows what was kept.
func savedPath(benchName, id, part string) string {
	return pagePath("instruments", benchName) + "?saved=" + id + "#" + part
}

// leadsForm measures the leads, with the clips shorted.
func (s instrumentPages) leadsForm(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	return s.submit(w, r, func(f form) (string, error) {
		zero, err := b.MeasureLeads(r.Context(), signedBy(f, r))
		return savedPath(r.PathValue("bench"), zero.ID, "leads"), err
	}, func(status int, f form) error {
		return s.showInstruments(w, r, status, instrumentForms{Leads: f})
	})
}

// standardForm measures a check standard.
func (s instrumentPages) standardForm(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	return s.submit(w, r, func(f form) (string, error) {
		nominal, err := f.ohms("nominal_ohms")
		if err != nil {
			return "", err
		}
		if f.Get("standard") == "" {
			return "", problem.Invalid.InField("standard", "is missing: write what stands on the resistor")
		}
		check, err := b.MeasureStandard(r.Context(), bench.Standard{Name: f.Get("standard"), NominalOhms: nominal, Who: signedBy(f, r)})
		return savedPath(r.PathValue("bench"), check.ID, "check"), err
	}, func(status int, f form) error {
		return s.showInstruments(w, r, status, instrumentForms{Standard: f})
	})
}

// calibrationForm keeps a calibration.
func (s instrumentPages) calibrationForm(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	return s.submit(w, r, func(f form) (string, error) {
		c, err := s.calibrationFrom(f, b.Snapshot())
		if err != nil {
			return "", err
		}
		c.By = signedBy(f, r)
		c, err = s.History.AddCalibration(r.Context(), c)
		return savedPath(c.Bench, c.ID, "calibrations"), err
	}, func(status int, f form) error {
		return s.showInstruments(w, r, status, instrumentForms{Calibration: f})
	})
}

func (s instrumentPages) calibrationFrom(f form, snapshot bench.Snapshot) (c record.Calibration, err error) {
	c = record.Calibration{Bench: snapshot.Bench, Role: record.Role(f.Get("role")), Certificate: f.Get("certificate"),
		Note: strings.ReplaceAll(f.Get("note"), "\r\n", "\n")}
	switch c.Role {
	case record.Meter:
		c.Instrument = snapshot.LabelOf(snapshot.Meter)
	case record.Probe:
		c.Instrument = snapshot.LabelOf(snapshot.Probe)
	}
	if c.Time, err = f.day("date"); err != nil {
		return c, err
	}
	if c.Time.After(s.Now()) {
		return c, problem.Invalid.InField("date", "must not be in the future")
	}
	if c.DueAt, err = f.day("due_at"); err != nil {
		return c, err
	}
	percent, err := f.number("correction_percent")
	if err != nil {
		return c, err
	}
	if percent != 0 && c.Role == record.Probe {
		return c, problem.Invalid.InField("correction_percent", "is of the meter only; leave it empty for the probe")
	}
	if !(percent >= -10 && percent <= 10) {
		return c, problem.Invalid.InField("correction_percent", "must be from -10 to 10, not %g", percent)
	}
	c.CorrectionRatio = percent / 100
	return c, nil
}

// signedBy is who says so: the name in the form, or the one that was logged in.
func signedBy(f form, r *http.Request) string {
	if name := f.Get("by"); name != "" {
		return name
	}
	return api.Requester(r)
}

// day reads a date as the beginning of that local day; zero when it was not
// filled in.
func (f form) day(name string) (time.Time, error) {
	text := f.Get(name)
	if text == "" {
		return time.Time{}, nil
	}
	day, err := time.ParseInLocation(time.DateOnly, text, time.Local)
	if err != nil {
		return time.Time{}, problem.Invalid.InField(name, "%q is not a date like 2026-03-14", text)
	}
	return day, nil
}
