package history

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
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

// A comparison is the same object in JSON Lines as everywhere, with the result
// under its old name beside it; the lines of before still come in.
func TestComparisonLines(t *testing.T) {
	t.Parallel()
	before, err := os.ReadFile(filepath.Join("testdata", "comparisons-of-before.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	s := newStore(t)
	counts, err := s.Import(t.Context(), bytes.NewReader(before))
	if err != nil || counts.Comparisons != 2 {
		t.Fatalf("imported %+v, %v, want two comparisons", counts, err)
	}
	kept, err := s.ComparisonsOf(t.Context(), "HN-0003") // the newest first
	if err != nil || len(kept) != 2 {
		t.Fatalf("kept %d, %v", len(kept), err)
	}
	if kept[0].By != "Wren" || kept[0].Note != "rang at noon" || kept[0].Input.Theirs[0].Ohms != 6280 ||
		kept[1].TheirMeter != "a yellow one" ||
		kept[0].Result.Formula != 3 || len(kept[0].Result.Explanations) == 0 || kept[0].Origin.Batch != "LM-1" {
		t.Errorf("kept %+v", kept)
	}
	object := func(value any) (fields map[string]any) {
		t.Helper()
		text, err := json.Marshal(value)
		if err == nil {
			err = json.Unmarshal(text, &fields)
		}
		if err != nil {
			t.Fatal(err)
		}
		return fields
	}
	now := export(t, s, record.JSONL, record.Filter{})
	var lines []map[string]any
	for line := range strings.Lines(now) {
		var l struct{ Comparison map[string]any }
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		if l.Comparison != nil {
			lines = append(lines, l.Comparison)
		}
	}
	if len(lines) != 2 {
		t.Fatalf("exported %d comparisons", len(lines))
	}
	for i, line := range lines {
		c := kept[len(kept)-1-i]
		if !reflect.DeepEqual(line["result"], any(object(c.Result))) {
			t.Errorf("under its old name: %v", line["result"])
		}
		delete(line, "result")
		if want := object(record.AnswerComparison(c)); !reflect.DeepEqual(line, want) {
			t.Errorf("exported\n%v\nwant\n%v", line, want)
		}
	}
	again := newStore(t)
	if counts, err := again.Import(t.Context(), strings.NewReader(now)); err != nil || counts.Comparisons != 2 {
		t.Fatalf("imported again: %+v, %v", counts, err)
	}
	if came, err := again.ComparisonsOf(t.Context(), "HN-0003"); err != nil || !reflect.DeepEqual(came, kept) {
		t.Errorf("came back as\n%+v, %v\nwant\n%+v", came, err, kept)
	}
	// What was there before is known, whichever way it is written.
	if counts, err := again.Import(t.Context(), bytes.NewReader(before)); err != nil || counts.Comparisons != 0 || counts.Known != 5 {
		t.Errorf("the old lines after the new ones: %+v, %v", counts, err)
	}
}

// A line has its result in either place, and one of neither is refused.
func TestComparisonLineWithoutResult(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	kept, err := s.AddComparison(t.Context(), compared(t, s, "HN-0001", 6280))
	if err != nil {
		t.Fatal(err)
	}
	file := export(t, s, record.JSONL, record.Filter{})
	for _, c := range []struct {
		name   string
		change func(*record.ComparisonLine)
		ok     bool
	}{
		{"both", func(*record.ComparisonLine) {}, true},
		{"as the API answers", func(l *record.ComparisonLine) { l.Nested = nil }, true},
		{"nested alone", func(l *record.ComparisonLine) { l.Result = compare.Result{} }, true},
		{"neither", func(l *record.ComparisonLine) { l.Result, l.Nested = compare.Result{}, nil }, false},
		{"without an id", func(l *record.ComparisonLine) { l.ID = nil }, false},
	} {
		line := record.LineOfComparison(kept)
		c.change(&line)
		text, err := json.Marshal(map[string]any{"type": "comparison", "comparison": line})
		if err != nil {
			t.Fatal(err)
		}
		var changed strings.Builder
		for l := range strings.Lines(file) {
			if strings.HasPrefix(l, `{"type":"comparison"`) {
				l = string(text) + "\n"
			}
			changed.WriteString(l)
		}
		fresh := newStore(t)
		_, err = fresh.Import(t.Context(), strings.NewReader(changed.String()))
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !c.ok {
			continue
		}
		got, err := fresh.Comparison(t.Context(), kept.ID)
		if err != nil || !reflect.DeepEqual(got, kept) {
			t.Errorf("%s: came as\n%+v, %v\nwant\n%+v", c.name, got, err, kept)
		}
	}
}
