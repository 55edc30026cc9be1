package metrics

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Bench is what a scrape asks of a bench.
type Bench interface {
	Snapshot() bench.Snapshot
}

// History is what a scrape asks of the history. All of it is answered from
// indexes, however large the history is.
type History interface {
	BatchStatistics(ctx context.Context, batch string, without ...string) (record.BatchStatistics, error)
	Calibrations(ctx context.Context, bench string) ([]record.Calibration, error)
	CheckMeasurements(ctx context.Context, f record.CheckFilter) ([]record.CheckMeasurement, error)
	SizeBytes() (int64, error)
	LastBackup(ctx context.Context) (time.Time, error)
}

// Drift is what a scrape asks of the drift analysis, which keeps its answer
// until the history changes.
type Drift interface {
	// StandingIn lists the signals that stand in a batch.
	StandingIn(ctx context.Context, batch string) ([]string, error)
}

// historyTimeout bounds what one scrape spends on the history; scrapers give
// up after ten seconds by default.
const historyTimeout = 4 * time.Second

// Sources is where a scrape gets its values.
type Sources struct {
	Recorder *Recorder
	Benches  []Bench
	History  History
	Drift    Drift
	// Logger is told of a history that cannot be read; nil discards.
	Logger *slog.Logger
}

// Handler serves all metrics of s, and those of the Go runtime and the
// process, in the formats Prometheus reads. One failing source never spoils
// the rest.
func Handler(s Sources) (http.Handler, error) {
	registry, err := s.registry()
	if err != nil {
		return nil, err
	}
	for _, c := range []prometheus.Collector{
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	} {
		if err := registry.Register(c); err != nil {
			return nil, fmt.Errorf("register runtime metrics: %w", err)
		}
	}
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{
		ErrorHandling: promhttp.ContinueOnError,
		ErrorLog:      scrapeLog{s.logger()},
	}), nil
}

func (s Sources) logger() *slog.Logger {
	if s.Logger == nil {
		return slog.New(slog.DiscardHandler)
	}
	return s.Logger
}

// registry holds everything coilkeep itself exports.
func (s Sources) registry() (*prometheus.Registry, error) {
	registry := prometheus.NewRegistry()
	info, _ := debug.ReadBuildInfo()
	parts := append(s.Recorder.parts(), buildInfo(info), collector{sources: s, log: s.logger()})
	for _, part := range parts {
		if err := registry.Register(part); err != nil {
			return nil, fmt.Errorf("register metrics: %w", err)
		}
	}
	return registry, nil
}

// scrapeLog passes promhttp's complaints on.
type scrapeLog struct{ log *slog.Logger }

func (l scrapeLog) Println(v ...any) {
	l.log.Warn("scrape incomplete", "err", fmt.Sprint(v...))
}

// buildInfo tells which program this is. Info is nil in a binary built without
// module support; the labels are then empty.
func buildInfo(info *debug.BuildInfo) prometheus.Collector {
	labels := prometheus.Labels{"version": "", "revision": "", "goversion": ""}
	if info != nil {
		labels["version"], labels["goversion"] = info.Main.Version, info.GoVersion
		for _, setting := range info.Settings {
			if setting.Key == "vcs.revision" {
				labels["revision"] = setting.Value
			}
		}
	}
	gauge := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: BuildInfo, Help: "Which program this is; always 1.", ConstLabels: labels})
	gauge.Set(1)
	return gauge
}

var (
	upDesc          = desc(InstrumentUp, "Whether an instrument answers.", "bench", "role")
	lastReadingDesc = desc(InstrumentLastReading, "When the latest reading came, good or bad.", "bench", "role")
	resistanceDesc  = desc(Resistance, "Live reading of the meter; absent when there is none.", "bench")
	temperatureDesc = desc(Temperature, "Live temperature; absent when there is none.", "bench")
	stateDesc       = desc(CaptureState, "1 for the state the capture is in, 0 for the others.", "bench", "state")
	batchDesc       = desc(BatchR20, "Resistance at 20 degrees Celsius of the coils of the open batch, also of those that stand apart.",
		"bench", "design", "statistic")
	driftDesc       = desc(DriftSignal, "1 for a drift signal that stands in the open batch, 0 for the others.", "bench", "design", "rule")
	calibrationDesc = desc(CalibrationDue, "When an instrument's calibration runs out.", "bench", "role")
	checkDesc       = desc(CheckStandardDeviation, "Latest check measurement over the standard's reference value, minus one.", "bench")
	historyUpDesc   = desc(HistoryUp, "Whether this scrape could read the history.")
	historySizeDesc = desc(HistorySize, "Size of the history on the disk.")
	backupDesc      = desc(HistoryLastBackup, "When the history was last backed up.")
)

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc(name, help, labels, nil)
}

// collector answers a scrape with how things stand now.
type collector struct {
	sources Sources
	log     *slog.Logger
}

// Describe implements prometheus.Collector.
func (c collector) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{upDesc, lastReadingDesc, resistanceDesc, temperatureDesc, stateDesc,
		batchDesc, driftDesc, calibrationDesc, checkDesc, historyUpDesc, historySizeDesc, backupDesc} {
		to <- d
	}
}

// Collect implements prometheus.Collector.
func (c collector) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), historyTimeout)
	defer cancel()
	var faults []error
	send := func(found []prometheus.Metric, err error) {
		for _, m := range found {
			to <- m
		}
		if err != nil {
			faults = append(faults, err)
		}
	}
	for _, b := range c.sources.Benches {
		snapshot := b.Snapshot()
		benchGauges(to, snapshot)
		if snapshot.Design != nil {
			c.sources.Recorder.addDesign(snapshot.Bench, snapshot.Design.Name)
		}
		send(c.batchGauges(ctx, snapshot))
		send(c.driftGauges(ctx, snapshot))
		send(c.checkGauge(ctx, snapshot.Bench))
		send(c.calibrationGauges(ctx, snapshot))
	}
	send(c.fileGauges(ctx))

	up := 1.0
	if err := errors.Join(faults...); err != nil {
		c.log.Warn("scrape could not read the history", "err", err)
		up = 0
	}
	to <- gauge(historyUpDesc, up)
}

// benchGauges sends how one bench stands.
func benchGauges(to chan<- prometheus.Metric, s bench.Snapshot) {
	for _, instrument := range fittedInstruments(s) {
		up := 0.0
		if instrument.Up {
			up = 1
		}
		to <- gauge(upDesc, up, s.Bench, string(instrument.Role))
		if instrument.LastAt != nil {
			to <- gauge(lastReadingDesc, unix(*instrument.LastAt), s.Bench, string(instrument.Role))
		}
	}
	if s.ResistanceOhms != nil {
		to <- gauge(resistanceDesc, *s.ResistanceOhms, s.Bench)
	}
	if s.TemperatureCelsius != nil {
		to <- gauge(temperatureDesc, *s.TemperatureCelsius, s.Bench)
	}
	for _, state := range capture.States() {
		is := 0.0
		if state == s.State {
			is = 1
		}
		to <- gauge(stateDesc, is, s.Bench, string(state))
	}
}

// The gauges that follow come from the history. What one question could not
// answer is left out and reported; the others are still answered.

func (c collector) batchGauges(ctx context.Context, s bench.Snapshot) ([]prometheus.Metric, error) {
	if s.Batch == nil {
		return nil, nil
	}
	statistics, err := c.sources.History.BatchStatistics(ctx, s.Batch.Name)
	if err != nil {
		return nil, fmt.Errorf("statistics of batch %q: %w", s.Batch.Name, err)
	}
	if statistics.Count == 0 {
		return nil, nil
	}
	statistic := func(name string, ohms float64) prometheus.Metric {
		return gauge(batchDesc, ohms, s.Bench, s.Batch.Design, name)
	}
	gauges := []prometheus.Metric{
		statistic("mean", statistics.MeanOhms),
		statistic("minimum", statistics.MinimumOhms),
		statistic("maximum", statistics.MaximumOhms),
	}
	if statistics.Count > 1 {
		gauges = append(gauges, statistic("standard_deviation", statistics.StandardDeviationOhms))
	}
	return gauges, nil
}

func (c collector) driftGauges(ctx context.Context, s bench.Snapshot) ([]prometheus.Metric, error) {
	if s.Batch == nil {
		return nil, nil
	}
	standing, err := c.sources.Drift.StandingIn(ctx, s.Batch.Name)
	if err != nil {
		return nil, fmt.Errorf("drift of batch %q: %w", s.Batch.Name, err)
	}
	var gauges []prometheus.Metric
	for _, rule := range workshop.Signals() {
		stands := 0.0
		if slices.Contains(standing, rule) {
			stands = 1
		}
		gauges = append(gauges, gauge(driftDesc, stands, s.Bench, s.Batch.Design, rule))
	}
	return gauges, nil
}

func (c collector) calibrationGauges(ctx context.Context, s bench.Snapshot) ([]prometheus.Metric, error) {
	calibrations, err := c.sources.History.Calibrations(ctx, s.Bench)
	if err != nil {
		return nil, fmt.Errorf("calibrations of bench %q: %w", s.Bench, err)
	}
	var gauges []prometheus.Metric
	for _, instrument := range fittedInstruments(s) {
		inForce := workshop.CalibrationInForce(calibrations, instrument.Role, time.Now(), s.LabelsOf(instrument)...)
		if inForce != nil && !inForce.DueAt.IsZero() {
			gauges = append(gauges, gauge(calibrationDesc, unix(inForce.DueAt), s.Bench, string(instrument.Role)))
		}
	}
	return gauges, nil
}

func (c collector) checkGauge(ctx context.Context, bench string) ([]prometheus.Metric, error) {
	checks, err := c.sources.History.CheckMeasurements(ctx, record.CheckFilter{Bench: bench, Limit: 1})
	if err != nil {
		return nil, fmt.Errorf("check measurements of bench %q: %w", bench, err)
	}
	if len(checks) == 0 {
		return nil, nil
	}
	return []prometheus.Metric{gauge(checkDesc, checks[0].DeviationRatio, bench)}, nil
}

func (c collector) fileGauges(ctx context.Context) ([]prometheus.Metric, error) {
	var gauges []prometheus.Metric
	size, sizeErr := c.sources.History.SizeBytes()
	if sizeErr == nil {
		gauges = append(gauges, gauge(historySizeDesc, float64(size)))
	}
	backup, backupErr := c.sources.History.LastBackup(ctx)
	if backupErr == nil && !backup.IsZero() {
		gauges = append(gauges, gauge(backupDesc, unix(backup)))
	}
	return gauges, errors.Join(sizeErr, backupErr)
}

// fittedInstruments lists the instruments the bench has.
func fittedInstruments(s bench.Snapshot) []bench.Instrument {
	var list []bench.Instrument
	for _, instrument := range []bench.Instrument{s.Meter, s.Probe} {
		if instrument.Driver != "" {
			list = append(list, instrument)
		}
	}
	return list
}

func gauge(d *prometheus.Desc, value float64, labels ...string) prometheus.Metric {
	return prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
}

// unix gives t as seconds since 1970, with its fraction.
func unix(t time.Time) float64 { return float64(t.UnixMicro()) / 1e6 }
