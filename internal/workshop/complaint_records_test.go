package workshop

import (
	"errors"
	"slices"
	"testing"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// The coils it may have been swapped with are those of its batch that stand, each
// once, without itself and without its mate.
func TestNeighboursOfTheCoil(t *testing.T) {
	t.Parallel()
	again := coil("HN-0002", "B-1", 6701)
	again.ID = "older"
	withdrawn := coil("HN-0004", "B-1", 6500)
	withdrawn.Status = record.Void
	store := shelf{coil("HN-0001", "B-1", 6612), coil("HN-0002", "B-1", 6700), again, coil("HN-0003", "B-1", 6800), withdrawn,
		coil("HN-0005", "B-2", 6900), coil("HN-0006", "", 7000)}
	for _, c := range []struct {
		serial, mate string
		want         []string
	}{
		{"HN-0001", "", []string{"HN-0002", "HN-0003"}},
		{"HN-0001", "HN-0003", []string{"HN-0002"}},
		{"HN-0005", "", nil},
		{"HN-0006", "HN-0001", nil}, // of no batch, it has no neighbours
	} {
		q, err := ask(t, store, map[string]string{"serial": c.serial, "mate": c.mate, "theirs": "6.28k"})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, other := range q.Others {
			got = append(got, other.Serial)
			if other.Serial == "HN-0002" && other.R20Ohms != 6700 {
				t.Errorf("%s is there with %g Ω, want the newest", other.Serial, other.R20Ohms)
			}
		}
		if !slices.Equal(got, c.want) || (q.Mate != nil) != (c.mate != "") {
			t.Errorf("%s with %q: %q, want %q", c.serial, c.mate, got, c.want)
		}
	}
}

// Without a coil of ours the history is asked nothing: a command needs none then.
func TestNoRecordIsNeededForANumber(t *testing.T) {
	t.Parallel()
	var request ComparisonRequest
	request.R20, request.Uncertainty, request.Theirs = "6612", "13", "6.28k"
	q, err := request.Ask(t.Context(), nil)
	if err != nil || q.Measurement != "" || q.Serial != "" || q.Origin != (record.Origin{}) {
		t.Errorf("asked %+v, %v", q, err)
	}
	c, err := Compare(q)
	if err != nil || c.Serial != "" || c.Result.Agrees || c.Input.Ours.R20Ohms != 6612 {
		t.Errorf("compared %+v, %v", c, err)
	}
}

// A coil goes by its scanned label as well as by its serial number.
func TestCompareByItsLabel(t *testing.T) {
	t.Parallel()
	store := shelf{measured(t, "HN-0001", 6612), measured(t, "HN-0002", 6700)}
	q, err := ask(t, store, map[string]string{"serial": "HN-0001 R20 6.612 +- 0.014 KOHM 2026-03-14", "wiring": "series",
		"mate": "hn-0002 R20 6.700 +- 0.014 kohm 2026-03-14", "theirs": "13.3k"})
	if err != nil || q.Serial != "HN-0001" || q.MateSerial != "HN-0002" {
		t.Errorf("%q with %q, %v", q.Serial, q.MateSerial, err)
	}
}

// A history that cannot answer gives no comparison that leaves something out.
func TestNothingIsComparedWithoutItsRecords(t *testing.T) {
	t.Parallel()
	d := drawer{shelf: shelf{measured(t, "HN-0001", 6612), measured(t, "HN-0002", 6700)}}
	for _, question := range []string{"coil", "measurement", "design"} {
		if _, err := ask(t, failing{d, question}, map[string]string{"serial": "HN-0001", "theirs": "6.28k"}); !errors.Is(err, errBroken) {
			t.Errorf("without %s: %v", question, err)
		}
	}
}

// A comparison says what it is of, and what is kept beside it; one of an overload
// there is not.
func TestCompareSaysWhatItIsOf(t *testing.T) {
	t.Parallel()
	store := shelf{measured(t, "HN-0001", 6612), measured(t, "HN-0002", 6700)}
	q, err := ask(t, store, map[string]string{"serial": "hn-0001", "theirs": "6.28k", "their_meter": "a yellow one", "note": "order 7"})
	if err != nil {
		t.Fatal(err)
	}
	c, err := Compare(q)
	if err != nil {
		t.Fatal(err)
	}
	want := record.Origin{Design: "Harbour", Batch: "spring", Bench: "north", Meter: "EV-40", Stands: true}
	if c.Serial != "HN-0001" || c.Measurement != "id of HN-0001" || c.Origin != want || c.TheirMeter != "a yellow one" ||
		c.Note != "order 7" ||
		c.ID != "" || c.Input.Ours.Turns != 7200 || c.Input.Ours.Measured == nil {
		t.Errorf("compared %+v", c)
	}
	if today, err := Today(c); today != nil || err != nil {
		t.Errorf("one of today's formula is computed again: %+v, %v", today, err)
	}
	c.Result.Formula, c.Result.ExpectedOhms = compare.Formula-1, 1
	if today, err := Today(c); err != nil || today == nil || today.Formula != compare.Formula || today.ExpectedOhms < 6000 {
		t.Errorf("one of another formula today: %+v, %v", today, err)
	}
	c.Input.Theirs[0].Ohms = -1
	if _, err := Today(c); err == nil {
		t.Error("an input that cannot be true is computed again")
	}

	if q, err = ask(t, store, map[string]string{"serial": "HN-0001", "theirs": "OL"}); err != nil {
		t.Fatal(err)
	}
	var fault *record.FieldError
	if _, err := Compare(q); !errors.As(err, &fault) || fault.Field != Theirs {
		t.Errorf("an overload compared: %v", err)
	}
	o, err := AnswerOverload(q)
	if err != nil || o.Serial != "HN-0001" || o.RangeOhms != 20000 || o.Again.Answer != o.Answer {
		t.Errorf("an overload answered: %+v, %v", o, err)
	}
	q.Theirs[0].TemperatureCelsius = new(-90.0)
	if _, err := AnswerOverload(q); !errors.As(err, &fault) || fault.Field != "temperature" {
		t.Errorf("an overload at -90 °C: %v", err)
	}
}

// A number is asked again with the digits it was told by, whatever they are.
func TestPlainNumbersComeBack(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]Text{
		6612: "6612", 0.00393: "0.00393", 0.000050000000000000002: "0.00005", 13.5: "13.5", 0: "0", -0.25: "-0.25", 250e3: "250000",
		6612.123456789: "6612.123456789", 1.0 / 3: "0.333333333333333",
	} {
		got := plain(v)
		back, err := number(string(got))
		if got != want || err != nil || back-v > 1e-14*max(1, v) || v-back > 1e-14*max(1, v) {
			t.Errorf("%v is asked as %q and comes back as %v, %v, want %q", v, got, back, err, want)
		}
	}
}
