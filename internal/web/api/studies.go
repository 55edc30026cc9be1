package api

import (
	"context"
	"net/http"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// studies shows studies of the measuring.
type studies struct{ kept StudyRecords }

// StudyRecords keeps studies.
type StudyRecords interface {
	Studies(ctx context.Context) ([]record.Study, error)
	workshop.StudyStore
}

func (s studies) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/studies", http.StatusOK, s.list,
			About{ID: "listStudies", Tag: Studies, Summary: "The studies of the measuring, the newest first",
				Description: "Studies stand apart from the records of coils.", Says: "All studies."}),
		endpoint("GET", "/api/v1/studies/{study}", http.StatusOK, s.show,
			About{ID: "showStudy", Tag: Studies, Summary: "What a study says of the measuring",
				Description: "Readings are shown when the study is complete, so that nobody measures towards them.", Says: "The study."}),
	}
}

// studyList is all studies.
type studyList struct {
	Studies []record.Study `json:"studies"` // the newest first
}

func (s studies) list(ctx context.Context, _ struct{}) (studyList, error) {
	list, err := s.kept.Studies(ctx)
	return studyList{list}, err
}

// ofStudy is a request about one study.
type ofStudy struct {
	Study string `path:"study"` // name of the study
}

func (s studies) show(ctx context.Context, request ofStudy) (workshop.StudyAnswer, error) {
	found, err := workshop.FindStudy(ctx, s.kept, request.Study)
	if err != nil {
		return workshop.StudyAnswer{}, err
	}
	if len(found.Readings) == 0 {
		return workshop.StudyAnswer{}, NoStudy(request.Study)
	}
	return workshop.AnswerStudy(found), nil
}

// NoStudy is the problem of a study that has no readings.
func NoStudy(name string) error { return problem.NotFound.Because("there is no study %q", name) }
