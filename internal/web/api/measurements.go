package api

import (
	"context"
	"net/http"
	"time"

	"coilkeep/internal/record"
)

// measurements shows what was measured, and withdraws it.
type measurements struct{ kept MeasurementRecords }

// MeasurementRecords keeps measurements.
type MeasurementRecords interface {
	Measurements(ctx context.Context, filter record.Filter) (page []record.Measurement, next string, err error)
	Measurement(ctx context.Context, id string) (record.Measurement, []record.Reading, error)
	Void(ctx context.Context, id, reason, who string) (record.Measurement, error)
}

func (m measurements) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/measurements", http.StatusOK, m.list,
			About{ID: "listMeasurements", Tag: Measurements, Summary: "Measurements, the oldest first",
				Description: "Withdrawn and superseded ones are listed too; their status says so. Budget, settings and context come with each alone.",
				Says:        "One page."}),
		endpoint("GET", "/api/v1/measurements/{id}", http.StatusOK, m.show,
			About{ID: "showMeasurement", Tag: Measurements, Summary: "A measurement with its budget and readings",
				Description: "Everything its result was computed from, so that it can be computed again.",
				Says:        "The measurement."}),
		endpoint("POST", "/api/v1/measurements/{id}/void", http.StatusOK, m.void,
			About{ID: "voidMeasurement", Tag: Measurements, Summary: "Withdraw a measurement",
				Description: "It stays in the history, marked, with the reason.", Says: "The measurement as it stands now."}),
	}
}

// page is which part of a list is wanted.
type page struct {
	// The next of the page before.
	After string `query:"after"`
	// How many at most.
	Limit int `query:"limit" openapi:"minimum=1,maximum=1000,default=100"`
}

// measurementFilter picks measurements.
type measurementFilter struct {
	Batch  string `query:"batch"`  // of this batch only
	Design string `query:"design"` // of this design only
	Serial string `query:"serial"` // of this coil only
	Bench  string `query:"bench"`  // of this bench only

	From time.Time `query:"from"` // not before this time
	To   time.Time `query:"to"`   // before this time
	page
}

// MeasurementPage is measurements, the oldest first.
type MeasurementPage struct {
	Measurements []record.Measurement `json:"measurements"` // the oldest first
	// Give it as after to get the next page; empty on the last one.
	Next string `json:"next"`
}

func (m measurements) list(ctx context.Context, request measurementFilter) (MeasurementPage, error) {
	list, next, err := m.kept.Measurements(ctx, record.Filter{Batch: request.Batch, Design: request.Design, Serial: request.Serial,
		Bench: request.Bench, From: request.From, To: request.To, After: request.After, Limit: request.Limit})
	if list == nil {
		list = []record.Measurement{}
	}
	return MeasurementPage{list, next}, err
}

// ofMeasurement is a request about one measurement.
type ofMeasurement struct {
	// Its id.
	ID string `path:"id"`
}

// MeasurementDetail is a measurement with everything behind it.
type MeasurementDetail struct {
	record.Measurement
	// The approach, the window and the temperatures, by time.
	Readings []record.Reading `json:"readings"`
}

func (m measurements) show(ctx context.Context, request ofMeasurement) (MeasurementDetail, error) {
	found, readings, err := m.kept.Measurement(ctx, request.ID)
	if readings == nil {
		readings = []record.Reading{}
	}
	return MeasurementDetail{found, readings}, err
}

// toVoid is why.
type toVoid struct {
	ofMeasurement
	login
	// Kept with it.
	Reason string `json:"reason"`
}

func (m measurements) void(ctx context.Context, request toVoid) (record.Measurement, error) {
	return m.kept.Void(ctx, request.ID, request.Reason, request.Login)
}
