package web

import (
	"context"

	"coilkeep/internal/web/api"
)

// studyTold is one study for programs: the result of the page, and the readings
// behind it.
func (s *site) studyTold(ctx context.Context, name string) (api.StudyAnswer, error) {
	found, err := s.studied(ctx, name)
	if err != nil {
		return api.StudyAnswer{}, err
	}
	if len(found.Readings) == 0 {
		return api.StudyAnswer{}, noStudy(name)
	}
	plan := planFrom(found.Readings)
	told := api.StudyAnswer{
		Study: name, Design: found.Design.Name, DesignRevision: found.Design.Revision,
		LowerOhms: found.Design.LowerOhms, UpperOhms: found.Design.UpperOhms, Bench: plan.Bench,
		Parts: plan.Parts, Operators: plan.Operators, ReadingsTaken: len(found.Readings),
	}
	if found.Result == nil {
		told.Incomplete = &found.Incomplete
	} else {
		result := api.AnswerStudy(*found.Result)
		told.Result, told.Readings = &result, found.Readings
	}
	return told, nil
}
