package workshop

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
)

// UsualStudyParts is how many coils a study of the measuring should have (common
// practice in measurement systems analysis, no source).
const UsualStudyParts = 10

// The most a study may have of each; the least is two.
const (
	mostStudyParts     = 50
	mostStudyOperators = 10
	mostStudyRepeats   = 10
)

// StudyRequest asks for a study of the measuring.
type StudyRequest struct {
	Study, Design, Bench string
	// Parts is how many coils, Repeats how often each person measures each.
	Parts, Repeats int
	// Operators are the people; one named twice counts once.
	Operators []string
}

// StudyPlan is who measures what how often.
type StudyPlan struct {
	Study, Design, Bench string
	Parts, Operators     []string
	Repeats              int
}

// Plan is the plan that a request asks for. The error is a *record.FieldError.
func (r StudyRequest) Plan() (StudyPlan, error) {
	p := StudyPlan{Study: r.Study, Design: r.Design, Bench: r.Bench, Repeats: r.Repeats}
	if r.Study == "" {
		return p, record.Invalid("study", "give the study a name")
	}
	if err := checkStudyNumber("parts", r.Parts, mostStudyParts); err != nil {
		return p, err
	}
	for i := range r.Parts {
		p.Parts = append(p.Parts, strconv.Itoa(i+1))
	}
	for _, name := range r.Operators {
		if name = strings.TrimSpace(name); name != "" && !slices.Contains(p.Operators, name) {
			p.Operators = append(p.Operators, name)
		}
	}
	if n := len(p.Operators); n < 2 || n > mostStudyOperators {
		return p, record.Invalid("operators", "name 2 to %d people, with commas between them", mostStudyOperators)
	}
	return p, checkStudyNumber("repeats", r.Repeats, mostStudyRepeats)
}

func checkStudyNumber(field string, n, most int) error {
	if n < 2 || n > most {
		return record.Invalid(field, "must be a whole number from 2 to %d", most)
	}
	return nil
}

// StudyPlanFollowed is the plan that the readings of a study follow, of which there
// must be one at least.
func StudyPlanFollowed(readings []record.StudyReading) StudyPlan {
	last := readings[len(readings)-1]
	p := StudyPlan{Study: last.Study, Design: last.Design, Bench: last.Bench}
	for _, r := range readings {
		if !slices.Contains(p.Parts, r.Part) {
			p.Parts = append(p.Parts, r.Part)
		}
		if !slices.Contains(p.Operators, r.Operator) {
			p.Operators = append(p.Operators, r.Operator)
		}
	}
	p.Repeats = 2
	for _, n := range countTrials(readings) {
		p.Repeats = max(p.Repeats, n)
	}
	return p
}

// Wanted is how many readings the plan asks for.
func (p StudyPlan) Wanted() int { return len(p.Parts) * len(p.Operators) * p.Repeats }

// StudyTrial is who measures which coil next, in which round from 1.
type StudyTrial struct {
	Part, Operator string
	Round          int
}

// Next is what to measure next: round by round, so that nobody measures a coil
// twice in a row and what changes slowly is spread over all. It is the zero value
// when all is done.
func (p StudyPlan) Next(readings []record.StudyReading) StudyTrial {
	taken := countTrials(readings)
	for round := range p.Repeats {
		for _, operator := range p.Operators {
			for _, part := range p.Parts {
				if taken[trial{part, operator}] <= round {
					return StudyTrial{part, operator, round + 1}
				}
			}
		}
	}
	return StudyTrial{}
}

// StudyPart is one coil of a study, with how often each operator of the plan
// measured it.
type StudyPart struct {
	Part  string
	Taken []int
}

// Taken counts readings, coil by coil.
func (p StudyPlan) Taken(readings []record.StudyReading) []StudyPart {
	taken := countTrials(readings)
	list := make([]StudyPart, len(p.Parts))
	for i, part := range p.Parts {
		list[i].Part = part
		for _, operator := range p.Operators {
			list[i].Taken = append(list[i].Taken, taken[trial{part, operator}])
		}
	}
	return list
}

// trial is one coil in the hands of one person.
type trial struct{ part, operator string }

func countTrials(readings []record.StudyReading) map[trial]int {
	count := map[trial]int{}
	for _, r := range readings {
		count[trial{r.Part, r.Operator}]++
	}
	return count
}

// StudyStore is what studies are kept in.
type StudyStore interface {
	StudyReadings(ctx context.Context, study string) ([]record.StudyReading, error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
}

// Study is the readings of a study and what comes of them.
type Study struct {
	Readings []record.StudyReading
	// Design is the revision the coils are of; zero without readings.
	Design record.Design
	// Result is nil until every operator has measured every coil equally often;
	// Incomplete says why it is, and is empty without readings.
	Result     *gauge.Study
	Incomplete string
}

// FindStudy finds a study and judges the measuring by it, against the tolerance of
// the revision of its first reading. A study without readings is none yet.
func FindStudy(ctx context.Context, store StudyStore, name string) (Study, error) {
	var s Study
	var err error
	if s.Readings, err = store.StudyReadings(ctx, name); err != nil || len(s.Readings) == 0 {
		return s, err
	}
	if s.Design, err = studyDesign(ctx, store, s.Readings); err != nil {
		return s, err
	}
	values := make([]gauge.Reading, len(s.Readings))
	for i, r := range s.Readings {
		values[i] = gauge.Reading{Part: r.Part, Operator: r.Operator, Value: r.R20Ohms}
	}
	result, err := gauge.AnalyseCrossed(values, s.Design.UpperOhms-s.Design.LowerOhms)
	switch {
	case errors.Is(err, gauge.ErrInput):
		s.Incomplete = err.Error()
		return s, nil
	case err != nil:
		return s, err
	}
	s.Result = &result
	return s, nil
}

// StudyDesign is the revision that the coils of a study are of; nil for a study that
// has no readings yet.
func StudyDesign(ctx context.Context, store StudyStore, name string) (*record.Design, error) {
	readings, err := store.StudyReadings(ctx, name)
	if err != nil || len(readings) == 0 {
		return nil, err
	}
	design, err := studyDesign(ctx, store, readings)
	return &design, err
}

// studyDesign is the revision of the first of all readings.
func studyDesign(ctx context.Context, store StudyStore, readings []record.StudyReading) (record.Design, error) {
	return store.DesignRevision(ctx, readings[0].Design, readings[0].DesignRevision)
}
