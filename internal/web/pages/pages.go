// Package pages shows the benches and the records to people: every page, picture
// and paper that a browser asks for, and the forms they send. What is decided is
// decided by the benches, the workshop's rules and the history; pages show it in
// words and pass on what a person wants.
//
// Each subject has a type of its own for its pages, named for it; all of them
// stand on the one desk, which renders pages, pictures and forms.
package pages

import (
	"context"
	"embed"
	"io"
	"log/slog"
	"net/http"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/record"
	"coilkeep/internal/warmth"
	"coilkeep/internal/web/api"
)

//go:embed assets templates
var files embed.FS

// Endpoint answers a request or returns the error that became of it.
type Endpoint func(w http.ResponseWriter, r *http.Request) error

// Route is one thing that can be asked of the daemon.
type Route struct {
	Method, Path string
	Answer       Endpoint
}

// Bench is what the pages ask of a bench.
type Bench interface {
	api.Bench
	Takes() (leastOhms, mostOhms float64)
	MeasureStudy(ctx context.Context, coil bench.StudyCoil) (record.StudyReading, error)
}

// History is all that the pages ask of the history, each of them a part.
type History interface {
	api.History
	BatchRecords
	CoilRecords
	InstrumentRecords
	RackRecords
	StudyReadings(ctx context.Context, study string) ([]record.StudyReading, error)
}

// BatchRecords is what the pages and files of a batch need beside the API.
type BatchRecords interface {
	BatchStatistics(ctx context.Context, batch string, without ...string) (record.BatchStatistics, error)
	BatchVerdicts(ctx context.Context, batches ...string) (map[string]record.Verdicts, error)
	Export(ctx context.Context, w io.Writer, format string, filter record.Filter) error
}

// CoilRecords is what the pages of coils need beside the API.
type CoilRecords interface {
	FindCoils(ctx context.Context, prefix string, limit int) (coils []record.Measurement, more bool, err error)
	Assembled(ctx context.Context, serials []string) (map[string]bool, error)
	ComparisonsOf(ctx context.Context, serial string) ([]record.Comparison, error)
	Journal(ctx context.Context, filter record.JournalFilter) ([]record.JournalEntry, error)
}

// InstrumentRecords is what the pages of instruments need beside the API.
type InstrumentRecords interface {
	Instruments(ctx context.Context, bench string) ([]record.Instrument, error)
	EachUse(ctx context.Context, filter record.UseFilter, fn func(record.Measurement) error) error
	LeadZeros(ctx context.Context, bench string) ([]record.LeadZero, error)
	CheckMeasurements(ctx context.Context, f record.CheckFilter) ([]record.CheckMeasurement, error)
}

// RackRecords is what the page of a rack needs.
type RackRecords interface {
	Soaks(ctx context.Context, bench string, limit int) ([]record.Soak, error)
	SoakOf(ctx context.Context, bench, serial, batch string) (*record.Soak, error)
}

// Settings is what the pages show and work on. All fields but Workshop, Contact and
// Arrive must be set.
type Settings struct {
	Benches []Bench
	History History
	// Drift says how batches and winders fare.
	Drift *watch.Watcher
	// Workshop is the name shown at the top of the page, Contact what documents
	// for buyers say beside it; both may be empty.
	Workshop, Contact string
	// Arrive says how coils come to each bench, as configured.
	Arrive map[string]warmth.Arrival
	// Logger is told what goes wrong.
	Logger *slog.Logger
	// Now gives the time shown on the page.
	Now func() time.Time
}

// Pages are all pages of the daemon.
type Pages struct{ desk *desk }

// New has the pages of some benches and their history ready.
func New(s Settings) *Pages {
	return &Pages{&desk{Settings: s, benches: api.NewBenchList(s.Benches)}}
}

// desk is what every page needs.
type desk struct {
	Settings
	benches api.BenchList[Bench]
}

// The pages of each subject.
type (
	benchPages struct {
		*desk
		batches batchPages
		drift   driftPages
	}
	rackPages  struct{ *desk }
	batchPages struct {
		*desk
		drift driftPages
	}
	driftPages struct{ *desk }
	coilPages  struct {
		*desk
		batches   batchPages
		documents documentPages
	}
	documentPages struct{ *desk }
	designPages   struct {
		*desk
		batches batchPages
	}
	instrumentPages struct{ *desk }
	windingPages    struct {
		*desk
		drift driftPages
	}
	studyPages        struct{ *desk }
	answerPages       struct{ *desk }
	reevaluationPages struct{ *desk }
)

// Routes lists every page, and what belongs to pages.
func (p *Pages) Routes() []Route {
	d := p.desk
	drift := driftPages{d}
	batches := batchPages{d, drift}
	benches := benchPages{d, batches, drift}
	rack := rackPages{d}
	documents := documentPages{d}
	coils := coilPages{d, batches, documents}
	designs, instruments := designPages{d, batches}, instrumentPages{d}
	winding, studies := windingPages{d, drift}, studyPages{d}
	answers, reevaluations := answerPages{d}, reevaluationPages{d}

	people := d.forPeople
	return []Route{
		{"GET", "/{$}", people(benches.home)},
		{"GET", "/benches/{bench}", people(benches.benchPage)},
		{"GET", "/benches/{bench}/panel", benches.panel},
		{"GET", "/benches/{bench}/run", benches.run},
		{"GET", "/benches/{bench}/rack", people(rack.rackPage)},
		{"POST", "/benches/{bench}/rack", people(rack.rackForm)},

		{"GET", "/batches", people(batches.batchesPage)},
		{"GET", "/batches/{batch}", people(batches.batchPage)},
		{"GET", "/batches/{batch}/measurements.csv", people(batches.exportBatch(record.CSV, "text/csv; charset=utf-8"))},
		{"GET", "/batches/{batch}/measurements.jsonl", people(batches.exportBatch(record.JSONL, "application/jsonl"))},
		{"GET", "/batches/{batch}/labels.pdf", people(documents.batchLabels)},
		{"POST", "/batches/{batch}/reopen", people(batches.reopenForm)},
		{"POST", "/batches/{batch}/drift/acknowledge", people(batches.acknowledgeForm)},
		{"POST", "/batches/{batch}/baseline", people(batches.baselineForm)},
		{"GET", "/batches/{batch}/drift.pdf", people(drift.batchDriftPDF)},

		{"GET", "/designs", people(designs.designsPage)},
		{"POST", "/designs", people(designs.addDesignForm)},
		{"GET", "/designs/{design}", people(designs.designPage)},
		{"POST", "/designs/{design}", people(designs.reviseDesignForm)},
		{"POST", "/designs/{design}/learned", people(designs.useLearnedForm)},

		{"GET", "/instruments", people(instruments.instrumentsPage)},
		{"GET", "/instruments/{bench}", people(instruments.benchInstrumentsPage)},
		{"POST", "/instruments/{bench}/leads", people(instruments.leadsForm)},
		{"POST", "/instruments/{bench}/standard", people(instruments.standardForm)},
		{"POST", "/instruments/{bench}/calibrations", people(instruments.calibrationForm)},
		{"GET", "/instruments/{bench}/recheck", people(instruments.recheckPage)},

		{"GET", "/coils", people(coils.findPage)},
		{"GET", "/coils/{serial}", people(coils.coilPage)},
		{"POST", "/coils/{serial}/void", people(coils.voidCoil)},
		{"POST", "/coils/{serial}/assembly", people(coils.assemblyForm)},
		{"GET", "/coils/{serial}/certificate", people(documents.certificatePage)},
		{"GET", "/coils/{serial}/certificate.pdf", people(documents.certificatePDF)},
		{"GET", "/coils/{serial}/label.pdf", people(documents.coilLabel)},

		{"GET", "/winders", people(winding.windersPage)},
		{"GET", "/winders/{winder}", people(winding.winderPage)},
		{"GET", "/winders/{winder}/drift.pdf", people(winding.winderDriftPDF)},
		{"GET", "/spools", people(winding.spoolsPage)},
		{"GET", "/pairs", people(winding.pairsPage)},
		{"GET", "/studies", people(studies.studiesPage)},
		{"POST", "/studies", people(studies.planStudy)},
		{"GET", "/studies/{study}", people(studies.studyPage)},
		{"POST", "/studies/{study}/measure", people(studies.measureStudy)},

		{"GET", "/answer", people(answers.answerPage)},
		{"POST", "/answer", people(answers.answerForm)},
		{"POST", "/answer/live", answers.answerLive},
		{"POST", "/answer/answer.pdf", people(answers.answerFormPDF)},
		{"GET", "/answers", people(answers.answersPage)},
		{"GET", "/answers/{id}", people(answers.keptAnswerPage)},
		{"GET", "/answers/{id}/answer.pdf", people(answers.keptAnswerPDF)},

		{"GET", "/reevaluate", people(reevaluations.reevaluatePage)},
		{"POST", "/reevaluate", people(reevaluations.reevaluateForm)},

		{"GET", "/assets/chart.css", chartStyle},
		{"GET", "/assets/{file}", asset},
	}
}

// ForPeople has the errors of an endpoint be answered with a page that says what is
// wrong, not with a problem for programs.
func (p *Pages) ForPeople(e Endpoint) Endpoint { return p.desk.forPeople(e) }
