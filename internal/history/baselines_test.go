package history

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

func steadyBaseline() record.Baseline {
	return record.Baseline{Winder: "W2", Design: "wren", DesignRevision: 1, FirstCoil: "HN-0001", LastCoil: "HN-0042", Count: 40,
		MeanOhms: 6690, SigmaWithinOhms: 20, SigmaOverallOhms: 22, MeanRangeOhms: 22.56, UsualStandardUncertaintyOhms: 9,
		Reason: "first good coils", By: "ada"}
}

func TestBaselines(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	current := func(winder string, revision int) *record.Baseline {
		t.Helper()
		b, err := s.CurrentBaseline(t.Context(), winder, "wren", revision)
		must(t)(b, err)
		return b
	}
	if b := current("W2", 1); b != nil {
		t.Errorf("got %+v before there is any", b)
	}
	first, err := s.AddBaseline(t.Context(), steadyBaseline())
	must(t)(first, err)
	revised := steadyBaseline()
	revised.MeanOhms, revised.Reason = 6700, "new felt"
	second, err := s.AddBaseline(t.Context(), revised)
	must(t)(second, err)
	later := steadyBaseline()
	later.Time = firstInstant.Add(24 * time.Hour)
	must(t)(s.AddBaseline(t.Context(), later))
	if b := current("W2", 1); b == nil || *b != second || first.ID == second.ID {
		t.Errorf("got %+v, want the revised one %+v and not one of tomorrow", b, second)
	}
	if a, b := current("W3", 1), current("W2", 2); a != nil || b != nil {
		t.Errorf("another winder has %+v, another revision %+v; want none", a, b)
	}
	entries, err := s.Journal(t.Context(), record.JournalFilter{Action: "baseline", Subject: "wren"})
	must(t)(entries, err)
	if len(entries) != 3 || !strings.Contains(entries[1].Detail,
		"winder W2, revision 1: 40 coils, HN-0001 to HN-0042, mean 6700 Ω, sigma 20 Ω: new felt") {
		t.Errorf("journal %+v", entries)
	}
	for field, change := range map[string]func(*record.Baseline){
		"mean_ohms":          func(b *record.Baseline) { b.MeanOhms = math.NaN() },
		"sigma_within_ohms":  func(b *record.Baseline) { b.SigmaWithinOhms = 0 },
		"sigma_overall_ohms": func(b *record.Baseline) { b.SigmaOverallOhms = -1 },
		"mean_range_ohms":    func(b *record.Baseline) { b.MeanRangeOhms = math.Inf(1) },
		"count":              func(b *record.Baseline) { b.Count = 9 },
		"reason":             func(b *record.Baseline) { b.Reason = "" },
		"serial":             func(b *record.Baseline) { b.LastCoil = "" },
		"winder":             func(b *record.Baseline) { b.Winder = " W2" },
		"usual_standard_uncertainty_ohms": func(b *record.Baseline) {
			b.UsualStandardUncertaintyOhms = math.NaN()
		},
	} {
		bad := steadyBaseline()
		change(&bad)
		var wrong *record.FieldError
		if _, err := s.AddBaseline(t.Context(), bad); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%s: got %v", field, err)
		}
	}
	unknown := steadyBaseline()
	unknown.DesignRevision = 7
	if _, err := s.AddBaseline(t.Context(), unknown); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("a revision that is not there: got %v", err)
	}
}

// The baseline that the program makes by itself never takes the place of one
// that a person has revised, however close the two come.
func TestFirstBaselineOnly(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	first := func(meanOhms float64, winder string) record.Baseline {
		t.Helper()
		b := steadyBaseline()
		b.MeanOhms, b.Winder = meanOhms, winder
		kept, err := s.AddFirstBaseline(t.Context(), b)
		must(t)(kept, err)
		return kept
	}
	if b := first(6690, "W2"); b.MeanOhms != 6690 || b.ID == "" {
		t.Errorf("where none was: got %+v", b)
	}
	revised := steadyBaseline()
	revised.MeanOhms, revised.Reason = 6700, "new felt"
	revised, err := s.AddBaseline(t.Context(), revised)
	must(t)(revised, err)
	if b := first(6710, "W2"); b != revised {
		t.Errorf("got %+v, want the revised one to stay: %+v", b, revised)
	}
	if b, err := s.CurrentBaseline(t.Context(), "W2", "wren", 1); err != nil || *b != revised {
		t.Errorf("kept is %+v, %v; want the revised one", b, err)
	}
	if b := first(6720, "W3"); b.MeanOhms != 6720 {
		t.Errorf("on another winder: got %+v", b)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM baselines`); n != 3 {
		t.Errorf("%d baselines, want 3", n)
	}
}

func studyReading(part, operator string) record.StudyReading {
	return record.StudyReading{Bench: "north", Study: "spring check", Design: "wren", DesignRevision: 1, Part: part, Operator: operator,
		ResistanceOhms: 6690 * (1 + 0.00393*5), TemperatureCelsius: 25, AlphaPerKelvin: 0.00393, Meter: "PM-6"}
}

func TestStudies(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	must(t)(s.ReviseDesign(t.Context(), record.Design{Name: "wren", TargetOhms: 6600, LowerOhms: 6500, UpperOhms: 6900,
		AlphaPerKelvin: 0.00393}, "ada"))
	var want []record.StudyReading
	for _, part := range []string{"coil 2", "coil 1"} {
		r, err := s.AddStudyReading(t.Context(), studyReading(part, "ada"))
		must(t)(r, err)
		// 6690 Ω at 20 °C, by the definition of α20 (IEC 60028).
		if math.Abs(r.R20Ohms-6690) > 1e-9*6690 {
			t.Errorf("R20 %v, want 6690", r.R20Ohms)
		}
		want = append(want, r)
	}
	got, err := s.StudyReadings(t.Context(), "spring check")
	must(t)(got, err)
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %+v, want %+v", got, want)
	}
	studies, err := s.Studies(t.Context())
	must(t)(studies, err)
	if len(studies) != 1 || studies[0] != (record.Study{Name: "spring check", Design: "wren", Readings: 2, First: want[0].Time,
		Last: want[1].Time}) {
		t.Errorf("studies %+v", studies)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != 0 {
		t.Errorf("a study left %d measurements of coils", n)
	}
	for field, change := range map[string]func(*record.StudyReading){
		"study":            func(r *record.StudyReading) { r.Study = "" },
		"part":             func(r *record.StudyReading) { r.Part = "" },
		"operator":         func(r *record.StudyReading) { r.Operator = "" },
		"resistance_ohms":  func(r *record.StudyReading) { r.ResistanceOhms = math.NaN() },
		"alpha_per_kelvin": func(r *record.StudyReading) { r.AlphaPerKelvin = 0.4 },
		"design":           func(r *record.StudyReading) { r.DesignRevision = 2 },
	} {
		bad := studyReading("coil 1", "ada")
		change(&bad)
		var wrong *record.FieldError
		if _, err := s.AddStudyReading(t.Context(), bad); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%s: got %v", field, err)
		}
	}
	hot := studyReading("coil 1", "ada")
	hot.TemperatureCelsius = 900
	if _, err := s.AddStudyReading(t.Context(), hot); err == nil {
		t.Error("900 °C passed")
	}
}
