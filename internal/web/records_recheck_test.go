package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

func recheckPath(values ...string) string {
	query := url.Values{}
	for i := 0; i < len(values); i += 2 {
		query.Set(values[i], values[i+1])
	}
	return "/instruments/north/recheck?" + query.Encode()
}

func TestRecheckPage(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	for day, ohms := range []float64{6690, 6990, 6990, 6690} {
		w.capture(t, fmt.Sprintf("HN-000%d", day), ohms, noon.AddDate(0, 0, day-4))
	}
	void := w.capture(t, "HN-0009", 6990, noon.Add(-50*time.Hour))
	if _, err := w.store.Void(t.Context(), void.ID, "wrong coil", ""); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	day := func(days int) string { return noon.AddDate(0, 0, days).Local().Format(time.DateOnly) }

	page := w.page(t, recheckPath("instrument", "meter:"+oldMeter, "from", day(-3), "to", day(-2), "correction", "+2"))
	wantText(t, page, "corrected by +2 %", "Measurements 3 Coils 3 R20 moves on average +2.000 % and at most +2.000 % Another verdict 2",
		"With another verdict HN-0001", "too high", "All others HN-0009 void")
	changed, others, _ := strings.Cut(textOf(page), "All others")
	for serial, isChanged := range map[string]bool{"HN-0001": true, "HN-0002": true, "HN-0009": false} {
		if strings.Contains(changed, serial) != isChanged || strings.Contains(others, serial) == isChanged {
			t.Errorf("%s: want among the changed: %t", serial, isChanged)
		}
	}
	wantNoText(t, page, "HN-0000", "HN-0003")

	wantText(t, w.page(t, recheckPath("instrument", "meter:"+oldMeter, "correction", "0")),
		"since its first use on "+day(-4), "Measurements 5 Coils 5", "Another verdict 0", "None: every verdict stays")
	wantText(t, w.page(t, recheckPath("instrument", "probe:line at /dev/ttyUSB1", "from", day(-1), "correction", "-10")),
		"corrected by -10 K", "Measurements 1 Coils 1 R20 moves on average +4.0")
	wantText(t, w.page(t, recheckPath("instrument", "meter:"+oldMeter, "from", day(0), "correction", "1")),
		"It has measured nothing in that time")

	for name, c := range map[string]struct{ path, text string }{
		"no such instrument": {recheckPath("instrument", "meter:on the shelf", "correction", "1"), "choose an instrument"},
		"no date":            {recheckPath("instrument", "meter:"+oldMeter, "from", "March", "correction", "1"), `"March" is not a date`},
		"backwards": {recheckPath("instrument", "meter:"+oldMeter, "from", day(-1), "to", day(-2), "correction", "1"),
			"must not be before the first day"},
		"no number": {recheckPath("instrument", "meter:"+oldMeter, "correction", "much"), `"much" is not a number`},
		"too much":  {recheckPath("instrument", "meter:"+oldMeter, "correction", "50"), "must be from -10 to 10 %, not 50"},
	} {
		answer := w.ask(t, "GET", c.path, nil)
		if answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: got status %d, want %d", name, answer.status, http.StatusUnprocessableEntity)
		}
		wantText(t, string(answer.body), c.text)
		if regexp.MustCompile(`Measurements \d`).MatchString(textOf(string(answer.body))) {
			t.Errorf("%s: there is an answer all the same", name)
		}
	}
}

// gatedHistory looks through what an instrument measured when its gate opens,
// and then answers err.
type gatedHistory struct {
	*history.Store
	gate chan struct{}
	err  error
}

func (h gatedHistory) EachUse(ctx context.Context, f record.UseFilter, fn func(record.Measurement) error) error {
	select {
	case <-h.gate:
	case <-ctx.Done():
		return ctx.Err()
	}
	return errors.Join(h.Store.EachUse(ctx, f, fn), h.err)
}

// TestRecheckIsOnTheScreenBeforeItsAnswer reads the page as a browser does:
// what was asked is there while the history is still looked through.
func TestRecheckIsOnTheScreenBeforeItsAnswer(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		err            error
		want, unwanted string
	}{
		"answered": {nil, "Measurements 1 Coils 1", "There is no list"},
		"damaged":  {record.ErrDamaged, "There is no list: " + record.ErrDamaged.Error(), "HN-0001"},
		"unknown":  {errors.New("torn"), "There is no list: the log of coilkeep serve says more", "HN-0001"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorkshop(t)
			w.wind(t)
			w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
			gated := gatedHistory{w.store, make(chan struct{}), c.err}
			w.History = gated
			w.start(t)
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			request, err := http.NewRequestWithContext(ctx, "GET", w.url+recheckPath("instrument", "meter:"+oldMeter, "correction", "1"), nil)
			if err != nil {
				t.Fatal(err)
			}
			response, err := http.DefaultClient.Do(request)
			if err != nil {
				t.Fatal(err)
			}
			defer response.Body.Close()
			begun, piece := "", make([]byte, 4096)
			for !strings.Contains(begun, "corrected by") {
				n, err := response.Body.Read(piece)
				if err != nil {
					t.Fatalf("after %q: %v", begun, err)
				}
				begun += string(piece[:n])
			}
			wantText(t, begun, "List the coils")
			close(gated.gate)
			rest, err := io.ReadAll(response.Body)
			if err != nil {
				t.Fatal(err)
			}
			wantText(t, begun+string(rest), c.want)
			wantNoText(t, string(rest), c.unwanted)
			if !strings.HasSuffix(string(rest), "</html>\n") {
				t.Error("the page does not end")
			}
		})
	}
}
