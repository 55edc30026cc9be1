package workshop

import (
	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
)

// StudyAnswer is a study of the measuring: several people measure the same coils
// several times. Nothing of it goes into the records of the coils.
type StudyAnswer struct {
	Study          string   `json:"study"`           // its name
	Design         string   `json:"design"`          // what the coils are of
	DesignRevision int      `json:"design_revision"` // which revision
	LowerOhms      float64  `json:"lower_ohms"`      // of the tolerance of this revision
	UpperOhms      float64  `json:"upper_ohms"`      // of the tolerance of this revision
	Bench          string   `json:"bench"`           // where the last reading was taken
	Parts          []string `json:"parts"`           // the coils, by the names they have in the study
	Operators      []string `json:"operators"`       // who clipped them on
	ReadingsTaken  int      `json:"readings_taken"`  // how many
	// What comes of it; null until every operator has measured every coil equally
	// often, twice at least.
	Result     *StudyResult `json:"result"`
	Incomplete *string      `json:"incomplete"` // why there is no result; null when there is
	// Every reading in the order taken; null as long as there is no result, so that
	// nobody measures towards them.
	Readings []record.StudyReading `json:"readings" openapi:"nullable"`
}

// StudyResult is what a study says of the measuring, in ohms.
type StudyResult struct {
	// How much of the tolerance the measuring takes up, and what limits it.
	Sentence string `json:"sentence"`
	// What the measuring could be made better by first: the steps of the display,
	// when nothing else scatters; the same hands measuring the same coil again;
	// operators against each other on all coils, or on some of them.
	LimitedBy gauge.Limit `json:"limited_by"`
	Repeats   int         `json:"repeats"` // how often each operator measured each coil
	// Whether the interaction of operators and coils is counted to the
	// repeatability, because it may be chance.
	InteractionPooled     bool            `json:"interaction_pooled"`
	Components            StudyComponents `json:"components"`              // where the spread comes from
	RepeatabilityLowOhms  float64         `json:"repeatability_low_ohms"`  // standard deviation of the repeatability, interval of 95 %
	RepeatabilityHighOhms float64         `json:"repeatability_high_ohms"` // its upper end
	// How many classes of coils it can tell apart, 1000 at most; null when the
	// measuring shows no scatter.
	DistinctCategories *int `json:"distinct_categories"`
}

// StudyComponents is where the spread of the readings comes from: measuring is
// repeatability and reproducibility, reproducibility is operators and interaction,
// the total is measuring and coil to coil.
type StudyComponents struct {
	Measuring       StudyShare `json:"measuring"`       // repeatability and reproducibility together
	Repeatability   StudyShare `json:"repeatability"`   // the same hands measuring the same coil again
	Reproducibility StudyShare `json:"reproducibility"` // operators and interaction together
	Operators       StudyShare `json:"operators"`       // operators against each other on all coils
	Interaction     StudyShare `json:"interaction"`     // operators against each other on some coils
	CoilToCoil      StudyShare `json:"coil_to_coil"`    // the coils themselves
	Total           StudyShare `json:"total"`           // measuring and coil to coil
}

// StudyShare is one source of the spread.
type StudyShare struct {
	StandardDeviationOhms float64 `json:"standard_deviation_ohms"` // of this source alone
	// Whether its variance came out below zero and is taken as zero.
	Clipped bool `json:"clipped"`
	// Of the total variance; null when the readings do not spread at all.
	ContributionPercent *float64 `json:"contribution_percent"`
	// Of the total standard deviation; null when the readings do not spread at all.
	StudyPercent *float64 `json:"study_percent"`
	// Six standard deviations, of the width of the tolerance; null without one.
	TolerancePercent *float64 `json:"tolerance_percent"`
}

// AnswerStudy is the answer about a study that has readings.
func AnswerStudy(s Study) StudyAnswer {
	plan := StudyPlanFollowed(s.Readings)
	a := StudyAnswer{
		Study: plan.Study, Design: s.Design.Name, DesignRevision: s.Design.Revision,
		LowerOhms: s.Design.LowerOhms, UpperOhms: s.Design.UpperOhms, Bench: plan.Bench,
		Parts: plan.Parts, Operators: plan.Operators, ReadingsTaken: len(s.Readings),
	}
	if s.Result == nil {
		a.Incomplete = &s.Incomplete
		return a
	}
	result := answerGauge(*s.Result)
	a.Result, a.Readings = &result, s.Readings
	return a
}

// answerGauge says a result with units, and leaves out what cannot be said.
func answerGauge(s gauge.Study) StudyResult {
	share := func(of gauge.Share) StudyShare {
		told := StudyShare{StandardDeviationOhms: of.StandardDeviation, Clipped: of.Clipped, TolerancePercent: of.TolerancePercent}
		if s.Total.Variance > 0 {
			told.ContributionPercent, told.StudyPercent = &of.ContributionPercent, &of.StudyPercent
		}
		return told
	}
	result := StudyResult{
		Sentence: s.Sentence, LimitedBy: s.LimitedBy, Repeats: s.Repeats, InteractionPooled: s.Pooled,
		Components: StudyComponents{
			Measuring: share(s.Gauge), Repeatability: share(s.Repeatability), Reproducibility: share(s.Reproducibility),
			Operators: share(s.OperatorVariation), Interaction: share(s.InteractionVariation),
			CoilToCoil: share(s.PartVariation), Total: share(s.Total),
		},
		RepeatabilityLowOhms: s.RepeatabilityLow, RepeatabilityHighOhms: s.RepeatabilityHigh,
	}
	if s.Gauge.StandardDeviation > 0 {
		result.DistinctCategories = &s.DistinctCategories
	}
	return result
}
