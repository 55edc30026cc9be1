package history

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// compared is a reading of somebody else set against the record of a coil, not
// stored yet.
func compared(t testing.TB, s *Store, serial string, theirsOhms float64) record.Comparison {
	t.Helper()
	coil, err := s.Coil(t.Context(), serial)
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := s.Measurement(t.Context(), coil.Measurements[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	in := compare.Input{
		Ours: compare.Record{Serial: serial, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, Turns: 8200,
			Measured: &m.Inputs},
		Others: []compare.Record{{Serial: "HN-0009", R20Ohms: 6700, ExpandedUncertaintyOhms: 20}},
		Theirs: []compare.Reading{{Ohms: theirsOhms, ResolutionOhms: 10, Date: "last Tuesday"}},
		Seed:   1,
	}
	result, err := compare.Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	return record.Comparison{Serial: serial, Measurement: m.ID, TheirMeter: "a yellow one", Letter: "Dear Ida,\n\nthank you.", Note: "order 7",
		By: "ada", Input: in, Result: result}
}

func TestComparisons(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.Batch, m.Time = "", m.Time.Add(time.Minute) })
	var stored []record.Comparison
	for i := range 3 {
		c := compared(t, s, fmt.Sprintf("HN-%04d", 1+i%2), 6280+100*float64(i))
		got, err := s.AddComparison(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		if got.ID == "" || got.Time.IsZero() {
			t.Errorf("stored without id or time: %+v", got)
		}
		want := c
		want.ID, want.Time, want.Origin = got.ID, got.Time, got.Origin
		if !reflect.DeepEqual(got, want) {
			t.Errorf("stored\n%+v\nwant\n%+v", got, want)
		}
		if o := got.Origin; o.Design != "wren" || o.Bench != "north" || !strings.Contains(o.Meter, "PM-6") || !o.Stands {
			t.Errorf("comes from %+v", o)
		}
		stored = append(stored, got)
	}
	one, err := s.Comparison(t.Context(), stored[1].ID)
	if err != nil || !reflect.DeepEqual(one, stored[1]) {
		t.Errorf("read again: %+v, %v", one, err)
	}
	if _, err := s.Comparison(t.Context(), "none"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("an unknown id: %v, want ErrNotFound", err)
	}
	of, err := s.ComparisonsOf(t.Context(), "HN-0001")
	if err != nil || !reflect.DeepEqual(of, []record.Comparison{stored[2], stored[0]}) {
		t.Errorf("of HN-0001: %d, %v; want the third and the first", len(of), err)
	}
	page, next, err := s.Comparisons(t.Context(), record.ComparisonFilter{Limit: 2})
	if err != nil || next != stored[1].ID || !reflect.DeepEqual(page, []record.Comparison{stored[2], stored[1]}) {
		t.Errorf("first page: %d, next %q, %v", len(page), next, err)
	}
	page, next, err = s.Comparisons(t.Context(), record.ComparisonFilter{Limit: 2, After: next})
	if err != nil || next != "" || !reflect.DeepEqual(page, stored[:1]) {
		t.Errorf("last page: %d, next %q, %v", len(page), next, err)
	}
	page, _, err = s.Comparisons(t.Context(), record.ComparisonFilter{Serial: "HN-0002", Design: "wren"})
	if err != nil || !reflect.DeepEqual(page, stored[1:2]) {
		t.Errorf("of HN-0002: %d, %v", len(page), err)
	}
	for _, f := range []record.ComparisonFilter{{After: "none"}, {Limit: -1}} {
		if _, _, err := s.Comparisons(t.Context(), f); !errors.Is(err, record.ErrInvalid) {
			t.Errorf("%+v: %v, want ErrInvalid", f, err)
		}
	}
	must(t)(s.Void(t.Context(), stored[1].Measurement, "wrong coil", "ada"))
	if one, err := s.Comparison(t.Context(), stored[1].ID); err != nil || one.Origin.Stands {
		t.Errorf("its measurement was withdrawn, but stands: %+v, %v", one.Origin, err)
	}
}

// A typed resistance in the place of a record has no coil.
func TestComparisonWithoutRecord(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	in := compare.Input{Ours: compare.Record{R20Ohms: 6612, ExpandedUncertaintyOhms: 13},
		Theirs: []compare.Reading{{Ohms: 6280, ResolutionOhms: 10}}, Seed: 1}
	result, err := compare.Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.AddComparison(t.Context(), record.Comparison{Input: in, Result: result})
	if err != nil || c.Origin != (record.Origin{}) || !reflect.DeepEqual(c.Result, result) {
		t.Errorf("stored %+v, %v", c, err)
	}
}

func TestComparisonRefused(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.Batch = "" })
	other := compared(t, s, "HN-0002", 6280)
	for name, test := range map[string]struct {
		change func(*record.Comparison)
		field  string
	}{
		"no measurement":       {func(c *record.Comparison) { c.Measurement = "" }, "measurement"},
		"another coil":         {func(c *record.Comparison) { c.Measurement = other.Measurement }, "measurement"},
		"another serial":       {func(c *record.Comparison) { c.Serial = "HN-0002" }, "input.ours.serial"},
		"no formula":           {func(c *record.Comparison) { c.Result.Formula = 0 }, "result.formula"},
		"another result":       {func(c *record.Comparison) { c.Result.ExpectedOhms++ }, "result"},
		"another verdict":      {func(c *record.Comparison) { c.Result.Agrees = !c.Result.Agrees }, "result"},
		"another explanation":  {func(c *record.Comparison) { c.Result.Explanations[0].Cause = compare.ShortedTurns }, "result"},
		"fewer explanations":   {func(c *record.Comparison) { c.Result.Explanations = c.Result.Explanations[1:] }, "result"},
		"input that is wrong":  {func(c *record.Comparison) { c.Input.Theirs = nil }, "input"},
		"letter of a megabyte": {func(c *record.Comparison) { c.Letter = strings.Repeat("x", record.MaxLetter+1) }, "letter"},
		"unprintable meter":    {func(c *record.Comparison) { c.TheirMeter = "a\x00b" }, "their_meter"},
	} {
		t.Run(name, func(t *testing.T) {
			c := compared(t, s, "HN-0001", 6280)
			test.change(&c)
			_, err := s.AddComparison(t.Context(), c)
			var fault *record.FieldError
			if !errors.As(err, &fault) || fault.Field != test.field {
				t.Errorf("error %v, want one about %s", err, test.field)
			}
		})
	}
	c := compared(t, s, "HN-0001", 6280)
	c.Measurement = "none"
	if _, err := s.AddComparison(t.Context(), c); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("unknown measurement: %v, want ErrNotFound", err)
	}
}

// What an older formula gave is kept as it was given: it is neither refused nor
// taken for a fault.
func TestComparisonOfAnotherFormula(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	c := compared(t, s, "HN-0001", 6280)
	c.Result.Formula, c.Result.ExpectedOhms = compare.Formula+1, 1234
	stored, err := s.AddComparison(t.Context(), c)
	if err != nil || stored.Result.ExpectedOhms != 1234 {
		t.Fatalf("stored %v, %v", stored.Result.ExpectedOhms, err)
	}
	verifies(t, s)
}

func TestVerifyFindsAnotherResult(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	c := compared(t, s, "HN-0001", 6280)
	must(t)(s.AddComparison(t.Context(), c))
	must(t)(s.writer.ExecContext(t.Context(), `DROP TRIGGER comparisons_no_update`))
	must(t)(s.writer.ExecContext(t.Context(), `UPDATE comparisons SET result = json_set(result, '$.expected_ohms', 1234)`))
	report, err := s.Verify(t.Context(), nil)
	if faults := report.Of(record.FaultResult); err != nil || len(faults) != 1 ||
		!strings.Contains(faults[0].Problem, "expected_ohms is stored as 1234") {
		t.Errorf("found %+v, %v", report.Faults, err)
	}
}
