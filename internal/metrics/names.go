package metrics

// The names of everything coilkeep exports. They are contract: dashboards and
// alert rules of other people rest on them. Base units, bounded labels, never
// a serial number.
const (
	// InstrumentUp is 1 while an instrument answers, else 0.
	// Labels: bench, role.
	InstrumentUp = "coilkeep_instrument_up"
	// InstrumentReadings counts readings by their status. Labels: bench, role,
	// status.
	InstrumentReadings = "coilkeep_instrument_readings_total"
	// InstrumentReconnects counts how often an instrument was opened again.
	// Labels: bench, role.
	InstrumentReconnects = "coilkeep_instrument_reconnects_total"
	// InstrumentDropped counts bytes that belonged to no answer: late and doubled
	// answers, echoes, noise. Labels: bench, role.
	InstrumentDropped = "coilkeep_instrument_dropped_bytes_total"
	// InstrumentLastReading is the Unix time of the latest reading, good or
	// bad; absent before the first. Labels: bench, role.
	InstrumentLastReading = "coilkeep_instrument_last_reading_timestamp_seconds"
	// Resistance is the live reading of the meter; absent when there is none.
	// Label: bench.
	Resistance = "coilkeep_resistance_ohms"
	// Temperature is the live temperature; absent when there is none. Label:
	// bench.
	Temperature = "coilkeep_temperature_celsius"
	// CaptureState is 1 for the state a capture is in and 0 for every other.
	// Labels: bench, state.
	CaptureState = "coilkeep_capture_state"
	// Measurements counts recorded measurements, each coil once for each time it was
	// on the clips: by its first record, also when a better one took its place
	// because it stayed on. Labels: bench, design, verdict.
	Measurements = "coilkeep_measurements_total"
	// MeasurementDeviation is a histogram of R20/target − 1 of what Measurements
	// counts. Labels: bench, design.
	MeasurementDeviation = "coilkeep_measurement_deviation_ratio"
	// CaptureDuration is a histogram of the time from contact to the last
	// reading used. Label: bench.
	CaptureDuration = "coilkeep_capture_duration_seconds"
	// CapturesRefused counts contacts that gave no measurement. Labels: bench,
	// reason, which is undecided where the clips came off before the verdict was
	// certain.
	CapturesRefused = "coilkeep_captures_refused_total"
	// BatchR20 holds the statistics of the open batch of a bench: mean,
	// standard_deviation (absent below two coils), minimum, maximum. Labels:
	// bench, design, statistic.
	BatchR20 = "coilkeep_batch_r20_ohms"
	// DriftSignal is 1 for a signal that stands in the open batch of a bench, and
	// 0 for every other; absent without a batch. The rule is one of the run rules
	// WE1 to WE4, ewma, cusum, step or trend. Labels: bench, design, rule.
	DriftSignal = "coilkeep_drift_signal"
	// CalibrationDue is the Unix time at which an instrument's calibration
	// runs out; absent when none is recorded. Labels: bench, role.
	CalibrationDue = "coilkeep_calibration_due_timestamp_seconds"
	// CheckStandardDeviation is measured/reference − 1 of the latest check
	// measurement; absent when there is none. Label: bench.
	CheckStandardDeviation = "coilkeep_check_standard_deviation_ratio"
	// HistoryUp is 1 when this scrape could read the history, else 0, and the
	// gauges that come from it are then absent.
	HistoryUp = "coilkeep_history_up"
	// HistorySize is the size of the history on the disk.
	HistorySize = "coilkeep_history_size_bytes"
	// HistoryWrite is a histogram of the time to make one measurement durable.
	HistoryWrite = "coilkeep_history_write_seconds"
	// HistoryLastBackup is the Unix time of the latest backup; absent when
	// there is none.
	HistoryLastBackup = "coilkeep_history_last_backup_timestamp_seconds"
	// BuildInfo is always 1; its labels say which program this is.
	BuildInfo = "coilkeep_build_info"
)
