package web

import (
	"net/http"

	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
)

// studiesJSON answers with the studies of the measuring, the newest first.
func (s *site) studiesJSON(w http.ResponseWriter, r *http.Request) error {
	if err := api.OnlyParameters(r.URL.Query()); err != nil {
		return err
	}
	studies, err := s.server.History.Studies(r.Context())
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Studies []record.Study `json:"studies"`
	}{studies})
	return nil
}

// studyReply is one study for programs.
type studyReply struct {
	Study          string   `json:"study"`
	Design         string   `json:"design"`
	DesignRevision int      `json:"design_revision"`
	LowerOhms      float64  `json:"lower_ohms"`
	UpperOhms      float64  `json:"upper_ohms"`
	Bench          string   `json:"bench"`
	Parts          []string `json:"parts"`
	Operators      []string `json:"operators"`
	ReadingsTaken  int      `json:"readings_taken"`
	// Result is nil until it can be told; Incomplete then says why.
	Result     *studyResult `json:"result"`
	Incomplete *string      `json:"incomplete"`
	// Readings is nil as long as Result is: nobody measures towards values that
	// are not shown.
	Readings []record.StudyReading `json:"readings"`
}

// studyResult is what a study says of the measuring, in ohms.
type studyResult struct {
	Sentence string `json:"sentence"`
	// LimitedBy is what the measuring could be made better by first.
	LimitedBy gauge.Limit `json:"limited_by"`
	Repeats   int         `json:"repeats"`
	// InteractionPooled is true when the interaction is counted to the
	// repeatability.
	InteractionPooled bool            `json:"interaction_pooled"`
	Components        studyComponents `json:"components"`
	// RepeatabilityLowOhms and RepeatabilityHighOhms hold its standard deviation
	// with 95 % confidence.
	RepeatabilityLowOhms  float64 `json:"repeatability_low_ohms"`
	RepeatabilityHighOhms float64 `json:"repeatability_high_ohms"`
	// DistinctCategories is nil when the measuring shows no scatter to tell coils
	// apart by.
	DistinctCategories *int `json:"distinct_categories"`
}

// studyComponents is where the spread of the readings comes from. Measuring is
// repeatability and reproducibility; Reproducibility is Operators and
// Interaction; Total is Measuring and CoilToCoil.
type studyComponents struct {
	Measuring       studyShare `json:"measuring"`
	Repeatability   studyShare `json:"repeatability"`
	Reproducibility studyShare `json:"reproducibility"`
	Operators       studyShare `json:"operators"`
	Interaction     studyShare `json:"interaction"`
	CoilToCoil      studyShare `json:"coil_to_coil"`
	Total           studyShare `json:"total"`
}

// studyShare is one source of the spread.
type studyShare struct {
	StandardDeviationOhms float64 `json:"standard_deviation_ohms"`
	// Clipped is true when the variance came out below zero and is taken as zero.
	Clipped bool `json:"clipped"`
	// ContributionPercent is of the total variance, StudyPercent of the total
	// standard deviation; nil when the readings do not spread at all.
	ContributionPercent *float64 `json:"contribution_percent"`
	StudyPercent        *float64 `json:"study_percent"`
	// TolerancePercent is six standard deviations of the width of the tolerance.
	TolerancePercent *float64 `json:"tolerance_percent"`
}

// studyJSON answers with one study: the result of the page, and the readings
// behind it.
func (s *site) studyJSON(w http.ResponseWriter, r *http.Request) error {
	if err := api.OnlyParameters(r.URL.Query()); err != nil {
		return err
	}
	name := r.PathValue("study")
	found, err := s.studied(r.Context(), name)
	if err != nil {
		return err
	}
	if len(found.Readings) == 0 {
		return noStudy(name)
	}
	plan := planFrom(found.Readings)
	reply := studyReply{
		Study: name, Design: found.Design.Name, DesignRevision: found.Design.Revision,
		LowerOhms: found.Design.LowerOhms, UpperOhms: found.Design.UpperOhms, Bench: plan.Bench,
		Parts: plan.Parts, Operators: plan.Operators, ReadingsTaken: len(found.Readings),
	}
	if found.Result == nil {
		reply.Incomplete = &found.Incomplete
	} else {
		result := resultOf(*found.Result)
		reply.Result, reply.Readings = &result, found.Readings
	}
	s.reply(w, r, http.StatusOK, reply)
	return nil
}

// resultOf says a result with units, and leaves out what cannot be said.
func resultOf(s gauge.Study) studyResult {
	share := func(of gauge.Share) studyShare {
		told := studyShare{StandardDeviationOhms: of.StandardDeviation, Clipped: of.Clipped, TolerancePercent: of.TolerancePercent}
		if s.Total.Variance > 0 {
			told.ContributionPercent, told.StudyPercent = &of.ContributionPercent, &of.StudyPercent
		}
		return told
	}
	result := studyResult{
		Sentence: s.Sentence, LimitedBy: s.LimitedBy, Repeats: s.Repeats, InteractionPooled: s.Pooled,
		Components: studyComponents{
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
