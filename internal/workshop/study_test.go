package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

func TestStudyPlan(t *testing.T) {
	t.Parallel()
	fine := StudyRequest{Study: "spring", Design: "fen", Bench: "north", Parts: 2, Repeats: 2,
		Operators: []string{" Mira", "", "Wren", "Mira "}}
	plan, err := fine.Plan()
	if err != nil || !slices.Equal(plan.Parts, []string{"1", "2"}) || !slices.Equal(plan.Operators, []string{"Mira", "Wren"}) ||
		plan.Wanted() != 8 {
		t.Errorf("got %+v, %v", plan, err)
	}
	for field, change := range map[string]func(*StudyRequest){
		"study":     func(r *StudyRequest) { r.Study = "" },
		"parts":     func(r *StudyRequest) { r.Parts = 51 },
		"operators": func(r *StudyRequest) { r.Operators = []string{"Mira", " Mira "} },
		"repeats":   func(r *StudyRequest) { r.Repeats = 1 },
	} {
		r := fine
		change(&r)
		var wrong *record.FieldError
		if _, err := r.Plan(); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%+v: %v, want one about %s", r, err, field)
		}
	}
}

// TestStudyGoesRoundByRound plays a study from its plan: each coil once in every
// hand before any a second time, and the readings lead to the plan they follow.
func TestStudyGoesRoundByRound(t *testing.T) {
	t.Parallel()
	plan := StudyPlan{Study: "spring", Design: "fen", Bench: "north", Parts: []string{"1", "2"}, Operators: []string{"Mira", "Wren"},
		Repeats: 2}
	var readings []record.StudyReading
	var went []string
	for next := plan.Next(nil); next.Part != ""; next = plan.Next(readings) {
		went = append(went, fmt.Sprint(next.Round, next.Operator, next.Part))
		readings = append(readings, record.StudyReading{Study: "spring", Design: "fen", Bench: "north", Part: next.Part, Operator: next.Operator})
		if len(readings) > plan.Wanted() {
			t.Fatal("it does not end")
		}
	}
	want := "1Mira1 1Mira2 1Wren1 1Wren2 2Mira1 2Mira2 2Wren1 2Wren2"
	if got := strings.ReplaceAll(strings.Join(went, " "), "  ", " "); got != want {
		t.Errorf("went %s, want %s", got, want)
	}
	followed := StudyPlanFollowed(readings)
	if fmt.Sprint(followed) != fmt.Sprint(plan) {
		t.Errorf("the readings follow %+v, want %+v", followed, plan)
	}
	taken := plan.Taken(readings[:5])
	if fmt.Sprint(taken) != "[{1 [2 1]} {2 [1 1]}]" {
		t.Errorf("taken after five: %v", taken)
	}
	if first := StudyPlanFollowed(readings[:1]); first.Repeats != 2 || len(first.Parts) != 1 {
		t.Errorf("after one reading: %+v", first)
	}
}

// trials is a history of one study.
type trials struct{ readings []record.StudyReading }

func (s trials) StudyReadings(context.Context, string) ([]record.StudyReading, error) {
	return s.readings, nil
}

func (s trials) DesignRevision(_ context.Context, name string, revision int) (record.Design, error) {
	return record.Design{Name: name, Revision: revision, LowerOhms: 6000, UpperOhms: 7000}, nil
}

func TestFindStudy(t *testing.T) {
	t.Parallel()
	if s, err := FindStudy(t.Context(), trials{}, "none"); err != nil || s.Result != nil || s.Incomplete != "" {
		t.Errorf("without readings: %+v, %v", s, err)
	}
	var readings []record.StudyReading
	for round := range 2 {
		for _, operator := range []string{"Mira", "Wren"} {
			for i, part := range []string{"1", "2", "3"} {
				// Each hand measures 2 Ω apart from one round to the next, and both alike.
				readings = append(readings, record.StudyReading{Study: "spring", Design: "fen", DesignRevision: 3, Part: part, Operator: operator,
					R20Ohms: 6600 + 50*float64(i) + 2*float64(round)})
			}
		}
	}
	s, err := FindStudy(t.Context(), trials{readings}, "spring")
	if err != nil || s.Result == nil || s.Design.Revision != 3 {
		t.Fatalf("got %+v, %v", s, err)
	}
	if s.Result.PartVariation.StandardDeviation < 40 || s.Result.Repeatability.StandardDeviation > 2 {
		t.Errorf("coils differ by %g Ω, the same hands by %g Ω", s.Result.PartVariation.StandardDeviation,
			s.Result.Repeatability.StandardDeviation)
	}
	if s, err = FindStudy(t.Context(), trials{readings[1:]}, "spring"); err != nil || s.Result != nil || s.Incomplete == "" {
		t.Errorf("with one reading missing: %+v, %v", s, err)
	}
}
