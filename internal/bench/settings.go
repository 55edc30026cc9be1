package bench

import (
	"context"
	"errors"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Settings is what a bench needs to know of itself.
type Settings struct {
	Name string
	// Capture holds the rules. What belongs to the coil on the clips (its
	// tolerance, its wire) and to the meter's calibration is filled in by the
	// bench as it changes.
	Capture capture.Settings
	// Serials is the pattern of serial numbers, such as "HN-%04d"; empty when a
	// person gives each.
	Serials string
	Meter   InstrumentSettings
	// Probe is nil when the bench has none; it then gives no R20.
	Probe *InstrumentSettings
	// ProbeLowCelsius and ProbeHighCelsius bound what the probe can show.
	ProbeLowCelsius, ProbeHighCelsius float64
}

// InstrumentSettings is one meter or probe and how to reach it.
type InstrumentSettings struct {
	// Name is what papers and pages call it when it says nothing of itself; empty
	// leaves that to its place.
	Name    string
	Driver  string
	Port    string
	Poll    time.Duration
	Timeout time.Duration
	// ResetPause is how long Open waits for a board that restarts when its port
	// opens; mostly 0.
	ResetPause time.Duration
	// Typed is true when a person types the values in.
	Typed bool
	// Open opens the instrument; it is called again whenever it was lost.
	Open func(ctx context.Context) (driver.Instrument, error)
	// ResolutionOhms is one step of a meter's display, when it sends more digits
	// than it measures; 0 otherwise.
	ResolutionOhms float64
	// Convert turns what the instrument measures into degrees Celsius, for a
	// probe that shows the resistance of its sensor; nil otherwise. stepOhms
	// is the resolution of the reading; it returns that of the result.
	Convert func(ohms, stepOhms float64) (celsius, stepKelvin float64, err error)
}

// Store is what a bench needs of the history.
type Store interface {
	workshop.SituationStore
	CoilStore
	BatchStore
	SideStore
	UnrecordedStore
	Stamp(ctx context.Context) (record.Stamp, error)
	KeepingStore
}

// KeepingStore keeps what happened at the bench.
type KeepingStore interface {
	RecordBy(ctx context.Context, m record.Measurement, readings []record.Reading, who string) (record.Measurement, error)
	AddJournal(ctx context.Context, entry record.JournalEntry) (record.JournalEntry, error)
	AddCoolingCurve(ctx context.Context, c record.CoolingCurve) (record.CoolingCurve, error)
	AddSoak(ctx context.Context, k record.Soak) (record.Soak, error)
}

// CoilStore is what is asked about a coil that is announced.
type CoilStore interface {
	Batch(ctx context.Context, name string) (record.Batch, error)
	Coil(ctx context.Context, serial string) (record.Coil, error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
	NextSerial(ctx context.Context, pattern string) (string, error)
}

// BatchStore opens and closes batches.
type BatchStore interface {
	OpenBatch(ctx context.Context, start record.BatchStart) (record.Batch, error)
	CloseBatch(ctx context.Context, name, who string) (record.Batch, error)
	ChangeSpool(ctx context.Context, batch, spool, who string) (record.Batch, error)
}

// SideStore keeps what is measured besides coils.
type SideStore interface {
	AddLeadZero(ctx context.Context, z record.LeadZero) (record.LeadZero, error)
	AddCheckMeasurement(ctx context.Context, c record.CheckMeasurement) (record.CheckMeasurement, error)
	AddStudyReading(ctx context.Context, r record.StudyReading) (record.StudyReading, error)
}

// UnrecordedStore keeps coils that left the clips without a record.
type UnrecordedStore interface {
	AddUnrecorded(ctx context.Context, u record.Unrecorded) (record.Unrecorded, error)
	Unrecorded(ctx context.Context, id string) (record.Unrecorded, error)
	Dismiss(ctx context.Context, id, who string) (record.Unrecorded, error)
}

// Counter counts what happens; the metrics are one. A coil that stayed on the clips
// and was measured longer is told once, by its first record: what is counted cannot
// be taken back.
type Counter interface {
	ReadingSeen(bench string, role record.Role, status driver.Status)
	Reconnected(bench string, role record.Role)
	BytesDropped(bench string, role record.Role, bytes int64)
	MeasurementRecorded(m record.Measurement, targetOhms float64)
	CaptureRefused(bench string, why capture.Refusal)
	HistoryWrite(took time.Duration)
}

// Next says under which serial number the next measurement is to be filed.
type Next struct {
	Serial string
	// Stage is where in its life the coil is; empty means wound.
	Stage string
	// Again allows a coil that was measured at this stage before; the new
	// measurement then supersedes the old one.
	Again bool
	// Who says so; the journal names them when another measurement is superseded.
	Who string
}

// RecordRequest asks for what is on the clips to be recorded now.
type RecordRequest struct {
	// Force records although the rules would wait; it needs a Reason.
	Force  bool
	Reason string
	// Who insists, for the journal.
	Who string
}

// ErrState means the bench cannot do what was asked as it stands now; the
// text says why and what to do.
var ErrState = errors.New("not now")
