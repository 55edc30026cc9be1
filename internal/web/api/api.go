// Package api is what programs may ask of the daemon: each endpoint is a function
// from a request, one Go type, to an answer, another, with a line about it. One
// wrapper reads requests and says what is wrong with them (see read); who may ask
// at all, and the writing of answers, are the server's. The API's description,
// openapi.json, is made of those types and their comments by genopenapi.
//
// An answer that is a record is the type the record has everywhere: in package
// record, in the JSON of the commands and in an export.
package api

//go:generate go run ./genopenapi

import (
	_ "embed"
	"maps"
	"slices"
	"time"

	"coilkeep/internal/warmth"
	"coilkeep/internal/workshop"
)

// Description is the API's description, OpenAPI 3.1.
//
//go:embed openapi.json
var Description []byte

// Tag is a subject that endpoints are about.
type Tag struct{ Name, Description string }

// The subjects, in the order they are listed in.
var (
	Benches      = Tag{"benches", "How benches stand, and what they are told."}
	Instruments  = Tag{"instruments", "Calibrations, leads and check standards."}
	Batches      = Tag{"batches", "Coils wound in a row."}
	Coils        = Tag{"coils", "Coils, and those that are sold as one."}
	Designs      = Tag{"designs", "What coils should be."}
	Measurements = Tag{"measurements", "What was measured, and what became of it."}
	Comparisons  = Tag{"comparisons", "What others measured, set against our records."}
	Drift        = Tag{"drift", "Whether something wanders, and what to do about it."}
	Studies      = Tag{"studies", "Studies of the measuring itself."}
	Service      = Tag{"service", "The daemon itself."}
)

// Tags lists the subjects.
func Tags() []Tag {
	return []Tag{Benches, Instruments, Batches, Coils, Designs, Measurements, Comparisons, Drift, Studies, Service}
}

// Parts are what the endpoints work on.
type Parts struct {
	Benches []Bench
	History History
	Drift   DriftWatch
	// Arrive says how coils come to each bench, as configured.
	Arrive map[string]warmth.Arrival
	// Now is the clock.
	Now func() time.Time
}

// History is all that the endpoints ask of the history, each of them a part.
type History interface {
	Journal
	CalibrationRecords
	DesignRecords
	MeasurementRecords
	CoilRecords
	BatchRecords
	ComparisonRecords
	AssemblyRecords
	StudyRecords
	workshop.PairsStore
	workshop.ReevaluationStore
}

// Endpoints lists what this package answers.
func Endpoints(p Parts) []Endpoint {
	at := NewBenchList(p.Benches)
	return slices.Concat(
		benches{at}.endpoints(),
		clips{at, p.History}.endpoints(),
		instruments{at, p.History, p.Now}.endpoints(),
		designs{p.History}.endpoints(),
		measurements{p.History}.endpoints(),
		coils{p.History}.endpoints(),
		batches{p.History}.endpoints(),
		comparisons{p.History}.endpoints(),
		assemblies{p.History}.endpoints(),
		reevaluations{workshop.Reevaluation{Store: p.History, Arrive: p.Arrive}}.endpoints(),
		wandering{p.History, p.Drift}.endpoints(),
		pairs{p.History}.endpoints(),
		studies{p.History}.endpoints(),
	)
}

// sortedKeys lists the keys of a map in order.
func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
