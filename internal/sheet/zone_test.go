package sheet

import (
	"strings"
	"testing"
	"time"
)

// Times without a zone are taken where one is told, but not those that its clocks
// skip: in Vienna from 2 to 3 on the last Sunday of March (Directive 2000/84/EC).
func TestTimesWithoutAZone(t *testing.T) {
	t.Parallel()
	vienna, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"2019-07-02 16:20":     "2019-07-02T14:20:00Z",
		"2019-01-02T16:20:05":  "2019-01-02T15:20:05Z",
		"2019-07-02T16:20:00Z": "2019-07-02T16:20:00Z",
		"2019-01-31 9:04":      "2019-01-31T08:04:00Z",
		"2019-01-31 9:04:05.5": "2019-01-31T08:04:05Z",
		"2019-03-31 02:30":     "its clocks skip it",
		"2. 7. 2019":           "write a time with its zone",
	} {
		row, err := first("time,r20_ohms\n" + text + ",6690\n")
		if err != nil {
			t.Fatal(err)
		}
		got := row.TimeIn("time", vienna).UTC().Format(time.RFC3339)
		if err := row.Err(); err != nil {
			got = err.Error()
		}
		if !strings.Contains(got, want) {
			t.Errorf("%q: %s, want %s", text, got, want)
		}
		if row, _ = first("time,r20_ohms\n" + text + ",6690\n"); !strings.HasSuffix(text, "Z") &&
			(!row.Time("time").IsZero() || row.Err() == nil) {
			t.Errorf("%q is taken where no zone is told", text)
		}
	}
}
