package history

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// coolingCurve is one of a coil of the design wren.
func coolingCurve(serial string) record.CoolingCurve {
	return record.CoolingCurve{Bench: "north", Serial: serial, Design: "wren", TimeConstantSeconds: 444, TimeConstantErrorSeconds: 30,
		QuickShare: 0.1, QuickShareError: 0.04, StartKelvin: 5}
}

// lost is a coil of bench north that was not recorded; its number is by the pattern.
func lost(serial string) record.Unrecorded {
	return record.Unrecorded{Bench: "north", Serial: serial, Stage: record.StageWound, ByPattern: serial != "", Refusal: "too-short",
		Words: "it came off before the readings were steady"}
}

func TestCoolingCurves(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	first, err := s.AddCoolingCurve(t.Context(), coolingCurve("HN-0001"))
	must(t)(first, err)
	second, err := s.AddCoolingCurve(t.Context(), coolingCurve("HN-0002"))
	must(t)(second, err)
	if list, err := s.CoolingCurves(t.Context(), "wren"); err != nil || !reflect.DeepEqual(list, []record.CoolingCurve{second, first}) {
		t.Errorf("got %+v, %v", list, err)
	}
	if list, err := s.CoolingCurves(t.Context(), "finch"); err != nil || len(list) != 0 {
		t.Errorf("of another design: %+v, %v", list, err)
	}
	deeds, err := s.Journal(t.Context(), record.JournalFilter{Action: "time constant"})
	if err != nil || len(deeds) != 2 || deeds[0].Detail != "left on the clips it settled with a time constant of 7.4 ± 0.5 min from 5.0 "+
		"K away" {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	for field, change := range map[string]func(*record.CoolingCurve){
		"time_constant_seconds":       func(c *record.CoolingCurve) { c.TimeConstantSeconds = 0 },
		"time_constant_error_seconds": func(c *record.CoolingCurve) { c.TimeConstantErrorSeconds = 0 },
		"quick_share":                 func(c *record.CoolingCurve) { c.QuickShare = 1.1 },
		"quick_share_error":           func(c *record.CoolingCurve) { c.QuickShareError = -1 },
		"bench":                       func(c *record.CoolingCurve) { c.Bench = "" },
	} {
		c := coolingCurve("HN-0001")
		change(&c)
		wrong := new(record.FieldError)
		if _, err := s.AddCoolingCurve(t.Context(), c); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	c := coolingCurve("HN-0001")
	c.Design = "finch"
	if _, err := s.AddCoolingCurve(t.Context(), c); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("of a design that is not there: %v", err)
	}
	if _, err := s.AddCoolingCurve(t.Context(), first); !errors.Is(err, record.ErrDuplicate) {
		t.Errorf("twice: %v", err)
	}
}

// The newest soak of a coil or of its batch counts, until the coil is on the clips.
func TestSoaks(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	now := s.instant()
	add := func(k record.Soak) record.Soak {
		t.Helper()
		k.Bench = "north"
		stored, err := s.AddSoak(t.Context(), k)
		must(t)(stored, err)
		return stored
	}
	soaked := func(what, serial, batch string, want *record.Soak) {
		t.Helper()
		if got, err := s.SoakOf(t.Context(), "north", serial, batch); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, %v; want %+v", what, got, err, want)
		}
	}
	soaked("nobody said", "HN-0001", "B-1", nil)
	batch := add(record.Soak{Batch: "B-1", Since: now.Add(-time.Hour)})
	soaked("its batch", "HN-0001", "B-1", &batch)
	soaked("a coil of another batch", "HN-0001", "B-2", nil)
	coil := add(record.Soak{Serial: "HN-0001", Since: now.Add(-time.Minute)})
	soaked("the coil, said later", "hn-0001", "B-1", &coil)
	soaked("another coil of the batch", "HN-0002", "B-1", &batch)
	if got, err := s.SoakOf(t.Context(), "south", "HN-0001", "B-1"); err != nil || got != nil {
		t.Errorf("beside the probe of another bench: %+v, %v", got, err)
	}
	recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Time = s.instant() })
	soaked("it was measured since", "HN-0001", "B-1", nil)
	if _, err := s.AddSoak(t.Context(), record.Soak{Bench: "north", Serial: "HN-0001", Since: now}); !errors.Is(err, record.ErrInvalid) ||
		!strings.Contains(err.Error(), "on the clips last") {
		t.Errorf("from before it was measured: %v", err)
	}
	again := add(record.Soak{Serial: "HN-0001"})
	if again.Since != again.Time {
		t.Errorf("since %v, want from when it was said", again.Since)
	}
	soaked("put there again", "HN-0001", "B-1", &again)
	u := lost("HN-0002")
	u.Time = s.instant()
	must(t)(s.AddUnrecorded(t.Context(), u))
	soaked("it was on the clips, unrecorded", "HN-0002", "B-1", nil)
	for what, k := range map[string]record.Soak{
		"nothing":       {},
		"both":          {Serial: "HN-0003", Batch: "B-1"},
		"tomorrow":      {Serial: "HN-0003", Since: now.Add(24 * time.Hour)},
		"years ago":     {Serial: "HN-0003", Since: now.AddDate(-3, 0, 0)},
		"a bad number":  {Serial: "HN\x00"},
		"no such batch": {Batch: "B-9"},
	} {
		k.Bench = "north"
		if _, err := s.AddSoak(t.Context(), k); !errors.Is(err, record.ErrInvalid) && !errors.Is(err, record.ErrNotFound) {
			t.Errorf("%s: %v", what, err)
		}
	}
	must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
	if _, err := s.AddSoak(t.Context(), record.Soak{Bench: "north", Batch: "B-1"}); !errors.Is(err, record.ErrConflict) {
		t.Errorf("a closed batch: %v", err)
	}
	if list, err := s.Soaks(t.Context(), "north", 2); err != nil || len(list) != 2 || list[0] != again {
		t.Errorf("listed %+v, %v", list, err)
	}
}

func TestUnrecorded(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	add := func(u record.Unrecorded) record.Unrecorded {
		t.Helper()
		stored, err := s.AddUnrecorded(t.Context(), u)
		must(t)(stored, err)
		return stored
	}
	one, two, nameless := add(lost("HN-0001")), add(lost("HN-0002")), add(lost(""))
	potted := lost("HN-0001")
	potted.Stage, potted.ByPattern = record.StagePotted, false
	later := add(potted)
	open := func(what string, want ...record.Unrecorded) {
		t.Helper()
		if got, err := s.OpenUnrecorded(t.Context(), "north"); err != nil || len(got) != len(want) || len(want) > 0 &&
			!reflect.DeepEqual(got, want) {
			t.Errorf("%s: open %+v, %v; want %+v", what, got, err, want)
		}
	}
	open("all", later, nameless, two, one)
	if again := add(one); again != one {
		t.Errorf("added again: %+v", again)
	}
	changed := one
	changed.Words = "it was another"
	if _, err := s.AddUnrecorded(t.Context(), changed); !errors.Is(err, record.ErrDuplicate) {
		t.Errorf("another under its id: %v", err)
	}
	recordCoil(t, s, "HN-0001")
	open("one is measured", later, nameless, two)
	add(lost("HN-0002"))
	two, err := s.Dismiss(t.Context(), two.ID, "grace")
	if err != nil || two.End == nil || two.End.How != record.Dismissed || two.End.Who != "grace" {
		t.Errorf("dismissed %+v, %v", two, err)
	}
	open("the other is dismissed, as often as it is listed", later, nameless)
	if got, err := s.Unrecorded(t.Context(), two.ID); err != nil || !reflect.DeepEqual(got, two) {
		t.Errorf("got %+v, %v; want %+v", got, err, two)
	}
	if again := add(two); again.End == nil {
		t.Error("added again, it is open again")
	}
	for what, got := range map[string]error{
		"ended":     second(s.Dismiss(t.Context(), two.ID, "")),
		"measured":  second(s.Dismiss(t.Context(), one.ID, "")),
		"not there": second(s.Dismiss(t.Context(), "nothing", "")),
		"unknown":   second(s.Unrecorded(t.Context(), "nothing")),
	} {
		want := record.ErrConflict
		if strings.HasPrefix(what, "not") || what == "unknown" {
			want = record.ErrNotFound
		}
		if !errors.Is(got, want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	for field, change := range map[string]func(*record.Unrecorded){
		"bench":   func(u *record.Unrecorded) { u.Bench = "" },
		"serial":  func(u *record.Unrecorded) { u.Serial = strings.Repeat("x", 100) },
		"stage":   func(u *record.Unrecorded) { u.Stage = "lost" },
		"refusal": func(u *record.Unrecorded) { u.Refusal = "" },
		"reason":  func(u *record.Unrecorded) { u.Words = "" },
	} {
		u := lost("HN-0009")
		change(&u)
		wrong := new(record.FieldError)
		if _, err := s.AddUnrecorded(t.Context(), u); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	deeds, err := s.Journal(t.Context(), record.JournalFilter{Action: "not recorded"})
	if err != nil || len(deeds) != 5 {
		t.Errorf("journal %+v, %v; want a line for each", deeds, err)
	}
	verifies(t, s)
}

// second is the error of a call.
func second[T any](_ T, err error) error { return err }

// The number of a coil that was not recorded is given to no other, but that of one
// that somebody typed does not move the count.
func TestNextSerialAfterUnrecorded(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0041")
	next := func(want string) {
		t.Helper()
		if got, err := s.NextSerial(t.Context(), "HN-%04d"); err != nil || got != want {
			t.Errorf("next %s, %v; want %s", got, err, want)
		}
	}
	next("HN-0042")
	u, err := s.AddUnrecorded(t.Context(), lost("HN-0042"))
	must(t)(u, err)
	next("HN-0043")
	must(t)(s.Dismiss(t.Context(), u.ID, "ada"))
	next("HN-0043")
	typed := lost("HN-9000")
	typed.ByPattern = false
	must(t)(s.AddUnrecorded(t.Context(), typed))
	next("HN-0043")
	recordCoil(t, s, "HN-0043")
	next("HN-0044")
}

// A measurement that takes the place of the first of its contact is no deed of
// anybody's; a verdict that it changes is told.
func TestMeasuredLonger(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	first := recordCoil(t, s, "HN-0001")
	second := recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Supersedes, m.Reason = first.ID, record.MeasuredLonger })
	if second.Sequence != first.Sequence {
		t.Errorf("sequence %d, want %d", second.Sequence, first.Sequence)
	}
	old, _, err := s.Measurement(t.Context(), first.ID)
	if err != nil || old.Status != record.Superseded || old.Reason != record.MeasuredLonger {
		t.Errorf("the first is %s, %q, %v", old.Status, old.Reason, err)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM journal WHERE subject = 'HN-0001'`); n != 0 {
		t.Errorf("%d entries in the journal", n)
	}
	m, readings := sample(t, "HN-0001", 6990, firstInstant)
	m.Supersedes, m.Reason = second.ID, record.MeasuredLonger
	must(t)(s.Record(t.Context(), m, readings))
	deeds, err := s.Journal(t.Context(), record.JournalFilter{Action: "verdict changed"})
	if err != nil || len(deeds) != 1 || !strings.HasPrefix(deeds[0].Detail, fmt.Sprintf("from %s to %s", first.Verdict, m.Verdict)) {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	verifies(t, s)
}

// The end of what was not recorded is caught up with.
func TestImportEndsUnrecorded(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	u, err := s.AddUnrecorded(t.Context(), lost("HN-0001"))
	must(t)(u, err)
	fresh := newStore(t)
	must(t)(fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, record.Filter{}))))
	recordCoil(t, s, "HN-0001")
	counts, err := fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, record.Filter{})))
	if err != nil || counts.Measurements != 1 || counts.Changed != 1 {
		t.Errorf("imported %+v, %v", counts, err)
	}
	got, err := fresh.Unrecorded(t.Context(), u.ID)
	want, wantErr := s.Unrecorded(t.Context(), u.ID)
	if err != nil || wantErr != nil || got.End == nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v; want %+v, %v", got, err, want, wantErr)
	}
	verifies(t, fresh)
}
