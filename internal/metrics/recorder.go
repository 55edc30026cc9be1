// Package metrics exports how the benches, the instruments and the history
// fare, for Prometheus. What is counted as it happens goes into a [Recorder];
// what stands at the moment of a scrape is asked of the [Sources]. A value that
// is not known now is absent, never the last one known.
//
// The package decides nothing and keeps nothing: after a restart all counters
// begin at zero, and what a batch or a coil measured is asked of the history.
package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// Recorder counts what happens at the benches. Make one with [NewRecorder]; it
// may be used by several goroutines at once.
type Recorder struct {
	readings     *prometheus.CounterVec
	reconnects   *prometheus.CounterVec
	dropped      *prometheus.CounterVec
	measurements *prometheus.CounterVec
	refused      *prometheus.CounterVec
	deviation    *prometheus.HistogramVec
	duration     *prometheus.HistogramVec
	historyWrite prometheus.Histogram
}

// Bucket limits. Deviations: symmetrical about the target and finest where
// designs have their tolerances. Captures: from the fastest meter to a coil
// that is given all patience. Writes: from a fast disk to the longest time the
// history waits for a lock.
var (
	deviationBuckets = []float64{-0.10, -0.07, -0.05, -0.03, -0.02, -0.01, -0.005, 0, 0.005, 0.01, 0.02, 0.03, 0.05, 0.07, 0.10}
	durationBuckets  = []float64{1, 2, 3, 5, 8, 13, 20, 30, 60, 120, 300, 600}
	writeBuckets     = []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5}
)

// NewRecorder returns a recorder with everything at zero.
func NewRecorder() *Recorder {
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels)
	}
	histogram := func(name, help string, buckets []float64, labels ...string) *prometheus.HistogramVec {
		return prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets}, labels)
	}
	return &Recorder{
		readings: counter(InstrumentReadings,
			"Readings of an instrument, by whether they were good.", "bench", "role", "status"),
		reconnects: counter(InstrumentReconnects,
			"How often a lost instrument was opened again.", "bench", "role"),
		dropped: counter(InstrumentDropped,
			"Bytes from an instrument that belonged to no answer.", "bench", "role"),
		measurements: counter(Measurements,
			"Measurements recorded since the daemon started.", "bench", "design", "verdict"),
		refused: counter(CapturesRefused,
			"Coils that were clipped on and gave no measurement, by reason.", "bench", "reason"),
		deviation: histogram(MeasurementDeviation,
			"Resistance at 20 degrees Celsius over the design's target, minus one.", deviationBuckets, "bench", "design"),
		duration: histogram(CaptureDuration,
			"Time from clipping a coil on to the last reading used.", durationBuckets, "bench"),
		historyWrite: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: HistoryWrite, Help: "Time to make one measurement durable.", Buckets: writeBuckets}),
	}
}

// AddBench starts the series of a bench at zero, so that their first increase
// is seen. Roles lists the instruments the bench has.
func (r *Recorder) AddBench(bench string, roles ...record.Role) {
	for _, role := range roles {
		r.reconnects.WithLabelValues(bench, string(role))
		r.dropped.WithLabelValues(bench, string(role))
		for _, status := range []driver.Status{driver.OK, driver.Overload, driver.Unreadable, driver.Impossible} {
			r.readings.WithLabelValues(bench, string(role), string(status))
		}
	}
	for _, reason := range capture.Refusals() {
		r.refused.WithLabelValues(bench, string(reason))
	}
	r.duration.WithLabelValues(bench)
}

// addDesign starts the series of a design on a bench at zero.
func (r *Recorder) addDesign(bench, design string) {
	for _, verdict := range []conformity.Verdict{conformity.In, conformity.High, conformity.Low, conformity.Undecided} {
		r.measurements.WithLabelValues(bench, design, string(verdict))
	}
	r.deviation.WithLabelValues(bench, design)
}

// ReadingSeen counts one reading of an instrument.
func (r *Recorder) ReadingSeen(bench string, role record.Role, status driver.Status) {
	r.readings.WithLabelValues(bench, string(role), string(status)).Inc()
}

// Reconnected counts that a lost instrument was opened again.
func (r *Recorder) Reconnected(bench string, role record.Role) {
	r.reconnects.WithLabelValues(bench, string(role)).Inc()
}

// BytesDropped counts bytes of an instrument that belonged to no answer.
func (r *Recorder) BytesDropped(bench string, role record.Role, bytes int64) {
	r.dropped.WithLabelValues(bench, string(role)).Add(float64(bytes))
}

// MeasurementRecorded counts a measurement that is on the disk. One that takes the
// place of the first of its contact is not told here: it is the same coil once. TargetOhms is
// the target of its design; 0 when it was measured without one. A value that
// was typed in has no capture duration.
func (r *Recorder) MeasurementRecorded(m record.Measurement, targetOhms float64) {
	r.measurements.WithLabelValues(m.Bench, m.Design, string(m.Verdict)).Inc()
	if targetOhms > 0 {
		r.deviation.WithLabelValues(m.Bench, m.Design).Observe(m.R20Ohms/targetOhms - 1)
	}
	if m.Status != record.Manual {
		r.duration.WithLabelValues(m.Bench).Observe(m.CaptureSeconds)
	}
}

// CaptureRefused counts a coil that gave no measurement.
func (r *Recorder) CaptureRefused(bench string, reason capture.Refusal) {
	r.refused.WithLabelValues(bench, string(reason)).Inc()
}

// HistoryWrite counts one durable write and how long it took.
func (r *Recorder) HistoryWrite(took time.Duration) {
	r.historyWrite.Observe(took.Seconds())
}

// parts lists the recorder's collectors.
func (r *Recorder) parts() []prometheus.Collector {
	return []prometheus.Collector{r.readings, r.reconnects, r.dropped, r.measurements, r.refused,
		r.deviation, r.duration, r.historyWrite}
}
