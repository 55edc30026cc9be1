package history

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

func TestDesignRevisions(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	first, err := s.AddDesign(t.Context(), wren(), "ada")
	if err != nil || first.Revision != 1 || first.CreatedAt.IsZero() {
		t.Fatalf("added %+v, %v", first, err)
	}
	if _, err := s.AddDesign(t.Context(), wren(), "ada"); !errors.Is(err, record.ErrDuplicate) {
		t.Errorf("added twice: %v, want ErrDuplicate", err)
	}
	if _, err := s.ReviseDesign(t.Context(), wren(), "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("revised without a change: %v, want ErrConflict", err)
	}
	changed := wren()
	changed.Bobbin, changed.TargetOhms = nil, 6750
	second, err := s.ReviseDesign(t.Context(), changed, "ada")
	if err != nil || second.Revision != 2 {
		t.Fatalf("revised %+v, %v", second, err)
	}
	if _, err := s.ReviseDesign(t.Context(), record.Design{Name: "emu", TargetOhms: 1, LowerOhms: 0.5, UpperOhms: 2,
		AlphaPerKelvin: 0.00393}, ""); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("revised an unknown one: %v, want ErrNotFound", err)
	}
	// Two people change the first revision: the second of them would undo what
	// the first did.
	late := first
	late.Note = "new felt"
	if _, err := s.ReviseDesign(t.Context(), late, "grace"); !errors.Is(err, record.ErrConflict) ||
		!strings.Contains(err.Error(), "has revision 2 by now, and this is a change of revision 1") {
		t.Errorf("a change of revision 1: %v, want ErrConflict", err)
	}
	got, err := s.DesignRevision(t.Context(), "wren", 1)
	if err != nil || !reflect.DeepEqual(got, first) {
		t.Errorf("revision 1 = %+v, %v; want %+v", got, err, first)
	}
	got, err = s.Design(t.Context(), "wren")
	if err != nil || !reflect.DeepEqual(got, second) {
		t.Errorf("latest = %+v, %v; want %+v", got, err, second)
	}
	other := wren()
	other.Name = "finch"
	finch, err := s.AddDesign(t.Context(), other, "ada")
	if err != nil {
		t.Fatal(err)
	}
	if list, err := s.Designs(t.Context()); err != nil || !reflect.DeepEqual(list, []record.Design{finch, second}) {
		t.Errorf("designs = %+v, %v", list, err)
	}
	if list, err := s.DesignRevisions(t.Context(), "wren"); err != nil || !reflect.DeepEqual(list, []record.Design{first, second}) {
		t.Errorf("revisions = %+v, %v", list, err)
	}
	for name, err := range map[string]error{
		"design":          errorOf(s.Design(t.Context(), "emu")),
		"design revision": errorOf(s.DesignRevision(t.Context(), "wren", 3)),
		"revisions":       errorOf(s.DesignRevisions(t.Context(), "emu")),
	} {
		if !errors.Is(err, record.ErrNotFound) {
			t.Errorf("%s: %v, want ErrNotFound", name, err)
		}
	}
}

// errorOf is the error of a call with one result.
func errorOf[T any](_ T, err error) error { return err }

func TestValidateDesign(t *testing.T) {
	t.Parallel()
	if err := record.ValidateDesign(wren()); err != nil {
		t.Fatalf("a good design: %v", err)
	}
	for _, c := range []struct {
		field  string
		change func(*record.Design)
	}{
		{"name", func(d *record.Design) { d.Name = "" }},
		{"name", func(d *record.Design) { d.Name = " wren" }},
		{"name", func(d *record.Design) { d.Name = strings.Repeat("w", 65) }},
		{"name", func(d *record.Design) { d.Name = "wren\xff" }},
		{"name", func(d *record.Design) { d.Name = "wr\u202een" }},
		{"target_ohms", func(d *record.Design) { d.TargetOhms = 0 }},
		{"target_ohms", func(d *record.Design) { d.TargetOhms = math.NaN() }},
		{"target_ohms", func(d *record.Design) { d.TargetOhms = 7000 }},
		{"lower_ohms", func(d *record.Design) { d.LowerOhms = -1 }},
		{"lower_ohms", func(d *record.Design) { d.LowerOhms = 6900 }},
		{"upper_ohms", func(d *record.Design) { d.UpperOhms = math.Inf(1) }},
		{"guard_factor", func(d *record.Design) { d.GuardFactor = 1.1 }},
		{"gauge_awg", func(d *record.Design) { d.GaugeAWG = -1 }},
		{"turns", func(d *record.Design) { d.Turns = -1 }},
		{"bobbin.build_mm", func(d *record.Design) { d.Bobbin = &record.Bobbin{BuildMM: -1} }},
		{"alpha_per_kelvin", func(d *record.Design) { d.AlphaPerKelvin = 0 }},
		{"alpha_per_kelvin", func(d *record.Design) { d.AlphaPerKelvin = 0.393 }},
		{"alpha_standard_uncertainty_per_kelvin", func(d *record.Design) { d.AlphaStandardUncertaintyPerKelvin = -1 }},
		{"time_constant_seconds", func(d *record.Design) { d.TimeConstantSeconds = math.NaN() }},
		{"note", func(d *record.Design) { d.Note = "bell\a" }},
	} {
		d := wren()
		c.change(&d)
		err := record.ValidateDesign(d)
		var field *record.FieldError
		if !errors.As(err, &field) || field.Field != c.field || !errors.Is(err, record.ErrInvalid) {
			t.Errorf("error %v, want one about %s", err, c.field)
		}
	}
}
