//lint:file-ignore SA1019 The newer schema is read by the newest Grafana only; this one by every version in use.

package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// board is one dashboard and the file people import.
type board struct {
	file   string
	layout *dashboard.DashboardBuilder
}

func boards() []board {
	return []board{
		{"benches.json", benches()},
		{"instruments.json", instruments()},
		{"batches.json", batches()},
	}
}

// page begins a dashboard with what all of them have: the choice of the
// Prometheus and the bench, and the way to the others.
func page(uid, title, says, refresh, since string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).Uid(uid).Description(says).
		Tags([]string{"coilkeep"}).Refresh(refresh).Time(since, "now").Timezone("browser").
		Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Link(dashboard.NewDashboardLinkBuilder("coilkeep").Type(dashboard.DashboardLinkTypeDashboards).
			Tags([]string{"coilkeep"}).IncludeVars(true).KeepTime(true)).
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Prometheus").Type("prometheus")).
		WithVariable(choice("bench", "Bench", "coilkeep_instrument_up"))
}

// benches is for the screen on the wall: what happens now, and how the day
// goes.
func benches() *dashboard.DashboardBuilder {
	return page("coilkeep-benches", "coilkeep: benches",
		"What each bench does now, and how the day goes.", "5s", "now-8h").
		WithRow(dashboard.NewRowBuilder("Now")).
		WithPanel(words(panel{title: "What each bench does", wide: 6, high: 4, unit: "none",
			says: "The state of the capture. Nothing here: the daemon does not answer.",
			asks: []target{{`coilkeep_capture_state{bench=~"$bench"} == 1`, "{{bench}}: {{state}}"}}})).
		WithPanel(numbers(panel{title: "On the clips", wide: 6, high: 4, unit: "ohm",
			says: "The meter's reading as it comes, not referred to 20 °C. A dash: open clips, or no reading that can be true.",
			asks: []target{{`coilkeep_resistance_ohms{bench=~"$bench"}`, "{{bench}}"}}})).
		WithPanel(numbers(panel{title: "Temperature now", wide: 6, high: 4, unit: "celsius",
			says: "What coils are referred to 20 °C by. A dash: missing, too old, or one that cannot be true.",
			asks: []target{{`coilkeep_temperature_celsius{bench=~"$bench"}`, "{{bench}}"}}})).
		WithPanel(numbers(panel{title: "Instruments that answer", wide: 6, high: 4, unit: "none",
			says: "Whether meter and probe answer.",
			asks: []target{{`coilkeep_instrument_up{bench=~"$bench"}`, "{{bench}} {{role}}"}}}).
			Mappings(called("gone", "red", "answers", "green"))).
		WithRow(dashboard.NewRowBuilder("The day")).
		WithPanel(bars(panel{title: "Coils in an hour", wide: 12, high: 9, unit: "short",
			says: "Measurements recorded in the hour before, by verdict. Prometheus extrapolates to the hour, so the numbers are not always " +
				"whole; the history has the exact ones.",
			asks: []target{{`sum by (verdict) (increase(coilkeep_measurements_total{bench=~"$bench"}[1h]))`, "{{verdict}}"}}})).
		WithPanel(bars(panel{title: "Contacts that gave nothing, in an hour", wide: 12, high: 9, unit: "short",
			says: "Coils that were clipped on and not recorded, by reason. The runbook's CoilkeepCapturesRefused says what each asks for.",
			asks: []target{{`sum by (reason) (increase(coilkeep_captures_refused_total{bench=~"$bench"}[1h])) > 0`, "{{reason}}"}}})).
		WithPanel(lines(panel{title: "From clip to record", wide: 12, high: 8, unit: "s",
			says: "How long a coil is on the clips before its last reading is used: half of the coils are quicker than the lower line, nine of " +
				"ten than the upper.",
			asks: []target{
				{`histogram_quantile(0.5, sum by (bench, le) (increase(coilkeep_capture_duration_seconds_bucket{bench=~"$bench"}[1h])))`,
					"{{bench}} half"},
				{`histogram_quantile(0.9, sum by (bench, le) (increase(coilkeep_capture_duration_seconds_bucket{bench=~"$bench"}[1h])))`,
					"{{bench}} nine of ten"},
			}}).Min(0)).
		WithPanel(lines(panel{title: "Temperature at the coils", wide: 12, high: 8, unit: "celsius",
			says: "A gap is a temperature that was missing, never an old one carried on.",
			asks: []target{{`coilkeep_temperature_celsius{bench=~"$bench"}`, "{{bench}}"}}}))
}

// instruments is for who looks after meters, probes and the database.
func instruments() *dashboard.DashboardBuilder {
	return page("coilkeep-instruments", "coilkeep: instruments and history",
		"Whether meters, probes and the database can be trusted.", "30s", "now-24h").
		WithRow(dashboard.NewRowBuilder("Alerts")).
		WithPanel(words(panel{title: "Alerts raised now", wide: 24, high: 4, unit: "none",
			says: "Each has a section in runbook.md. A dash: none.",
			asks: []target{{`ALERTS{alertname=~"Coilkeep.+",alertstate="firing"}`, "{{alertname}} {{bench}} {{role}} {{design}}"}}})).
		WithRow(dashboard.NewRowBuilder("Meters and probes")).
		WithPanel(strip(panel{title: "When instruments answered", wide: 12, high: 7, unit: "none",
			says: "When each instrument answered.",
			asks: []target{{`coilkeep_instrument_up{bench=~"$bench"}`, "{{bench}} {{role}}"}}}).
			Mappings(called("gone", "red", "answers", "green"))).
		WithPanel(lines(panel{title: "Readings used and not", wide: 12, high: 7, unit: "cps",
			says: "Readings a second by status. Overload is a meter with open clips and no fault.",
			asks: []target{{`sum by (bench, role, status) (rate(coilkeep_instrument_readings_total{bench=~"$bench"}[$__rate_interval])) > 0`,
				"{{bench}} {{role}} {{status}}"}}})).
		WithPanel(lines(panel{title: "Share that cannot be used", wide: 12, high: 7, unit: "percentunit",
			says: "Impossible: whole, but it cannot be true. Unreadable: cut, merged or noise. Above 10 % an alert is raised.",
			asks: []target{
				{`bench_role:coilkeep_instrument_readings_impossible:ratio5m{bench=~"$bench"}`, "{{bench}} {{role}} impossible"},
				{`bench_role:coilkeep_instrument_readings_unreadable:ratio5m{bench=~"$bench"}`, "{{bench}} {{role}} unreadable"},
			}}).Min(0).Max(1)).
		WithPanel(bars(panel{title: "Opened anew, in an hour", wide: 6, high: 7, unit: "short",
			says: "How often an instrument had to be opened again. More than five an hour is a bad plug.",
			asks: []target{{`increase(coilkeep_instrument_reconnects_total{bench=~"$bench"}[1h]) > 0`, "{{bench}} {{role}}"}}})).
		WithPanel(numbers(panel{title: "Since the latest reading", wide: 6, high: 7, unit: "s",
			says: "Good or bad. Instruments that are typed in may be silent for long.",
			asks: []target{{`time() - coilkeep_instrument_last_reading_timestamp_seconds{bench=~"$bench"}`, "{{bench}} {{role}}"}}})).
		WithRow(dashboard.NewRowBuilder("Traceability")).
		WithPanel(numbers(panel{title: "Calibration runs out in", wide: 12, high: 6, unit: "s",
			says: "Red: overdue. Instruments without a calibration in the history are not listed.",
			asks: []target{{`coilkeep_calibration_due_timestamp_seconds{bench=~"$bench"} - time()`, "{{bench}} {{role}}"}}}).
			Thresholds(steps("red", from(0, "orange"), from(14*86400, "green")))).
		WithPanel(lines(panel{title: "Check standard", wide: 12, high: 6, unit: "percentunit",
			says: "Latest measurement of the reference resistor over its value, minus one. It should stay within twice the meter's accuracy " +
				"and show no trend.",
			asks: []target{{`coilkeep_check_standard_deviation_ratio{bench=~"$bench"}`, "{{bench}}"}}}).Decimals(3)).
		WithRow(dashboard.NewRowBuilder("History")).
		WithPanel(numbers(panel{title: "Database readable", wide: 6, high: 6, unit: "none",
			says: "Whether the latest scrape could read it.",
			asks: []target{{`coilkeep_history_up`, "{{instance}}"}}}).
			Mappings(called("unreadable", "red", "readable", "green"))).
		WithPanel(numbers(panel{title: "Since the last backup", wide: 6, high: 6, unit: "s",
			says: "A dash: never backed up.",
			asks: []target{{`time() - coilkeep_history_last_backup_timestamp_seconds`, "{{instance}}"}}}).
			Thresholds(steps("green", from(2*86400, "orange"), from(7*86400, "red")))).
		WithPanel(lines(panel{title: "Size of the database", wide: 6, high: 6, unit: "bytes",
			says: "On the disk, with the write-ahead log.",
			asks: []target{{`coilkeep_history_size_bytes`, "{{instance}}"}}}).Min(0)).
		WithPanel(lines(panel{title: "Saving a coil", wide: 6, high: 6, unit: "s",
			says: "Nineteen of twenty writes are quicker.",
			asks: []target{{`job_instance:coilkeep_history_write_seconds:p95_1h`, "{{instance}}"}}}).Min(0)).
		WithPanel(words(panel{title: "Versions that run", wide: 24, high: 3, unit: "none",
			says: "Which coilkeep runs where.",
			asks: []target{{`coilkeep_build_info`, "{{instance}} {{version}} {{revision}}"}}}))
}

// batches is for who looks after the winder: is it the coils, the meter or the
// room that wanders?
func batches() *dashboard.DashboardBuilder {
	return page("coilkeep-batches", "coilkeep: batches and drift",
		"Whether the winder wanders, beside the meter and the room, which may wander too.", "1m", "now-7d").
		WithVariable(choice("design", "Design", `coilkeep_measurements_total{bench=~"$bench"}`)).
		WithRow(dashboard.NewRowBuilder("Open batches")).
		WithPanel(strip(panel{title: "Drift signals", wide: 24, high: 6, unit: "none",
			says: "Control-chart rules that have given a signal in the open batch. A signal is evidence and no verdict: the batch page of " +
				"coilkeep shows since which coil, how much, and what moved with it.",
			asks: []target{{`coilkeep_drift_signal{bench=~"$bench",design=~"$design"}`, "{{bench}} {{design}} {{rule}}"}}}).
			Mappings(called("quiet", "green", "signal", "orange"))).
		WithPanel(lines(panel{title: "R20 of the batch", wide: 16, high: 9, unit: "ohm",
			says: "Mean, lowest and highest resistance at 20 °C of the coils of the open batch so far. It begins anew with every batch.",
			asks: []target{{`coilkeep_batch_r20_ohms{bench=~"$bench",design=~"$design",statistic=~"mean|minimum|maximum"}`,
				"{{bench}} {{design}} {{statistic}}"}}})).
		WithPanel(lines(panel{title: "Scatter of the batch", wide: 8, high: 9, unit: "ohm",
			says: "Standard deviation of R20 within the open batch; absent below two coils.",
			asks: []target{{`coilkeep_batch_r20_ohms{bench=~"$bench",design=~"$design",statistic="standard_deviation"}`,
				"{{bench}} {{design}}"}}}).Min(0)).
		WithRow(dashboard.NewRowBuilder("Against the target")).
		WithPanel(spread(panel{title: "Deviation from target", wide: 12, high: 9, unit: "percentunit",
			says: "How the coils of each hour spread about their design's target, R20/target − 1.",
			asks: []target{{`sum by (le) (increase(coilkeep_measurement_deviation_ratio_bucket{bench=~"$bench",design=~"$design"}[1h]))`,
				"{{le}}"}}})).
		WithPanel(lines(panel{title: "Median deviation", wide: 12, high: 9, unit: "percentunit",
			says: "Of two hours, to within the width of a bucket. A mean cannot be had from this metric, because deviations are negative as " +
				"often as not.",
			asks: []target{{`bench_design:coilkeep_measurement_deviation_ratio:median2h{bench=~"$bench",design=~"$design"}`,
				"{{bench}} {{design}}"}}}).Decimals(2)).
		WithPanel(lines(panel{title: "Coils outside tolerance", wide: 12, high: 9, unit: "percentunit",
			says: "Share of the coils of two hours that are high or low, and the limit of a proportions chart: three standard deviations above " +
				"the share usual in the week before.",
			asks: []target{
				{`bench_design:coilkeep_measurements_outside:ratio2h{bench=~"$bench",design=~"$design"}`, "{{bench}} {{design}}"},
				{`bench_design:coilkeep_measurements_outside:limit_ratio2h{bench=~"$bench",design=~"$design"}`, "{{bench}} {{design}} limit"},
			}}).Min(0).Max(1)).
		WithPanel(lines(panel{title: "Coils undecided", wide: 12, high: 9, unit: "percentunit",
			says: "Share of the coils of a day that lie so near a limit that the bench cannot say on which side.",
			asks: []target{{`bench_design:coilkeep_measurements_undecided:ratio1d{bench=~"$bench",design=~"$design"}`,
				"{{bench}} {{design}}"}}}).Min(0).Max(1)).
		WithRow(dashboard.NewRowBuilder("Not the winder?")).
		WithPanel(lines(panel{title: "The meter: check standard", wide: 12, high: 7, unit: "percentunit",
			says: "When this moves together with the coils it is the meter.",
			asks: []target{{`coilkeep_check_standard_deviation_ratio{bench=~"$bench"}`, "{{bench}}"}}}).Decimals(3)).
		WithPanel(lines(panel{title: "The room: temperature", wide: 12, high: 7, unit: "celsius",
			says: "When R20 moves together with this, the probe does not sit where the coils are.",
			asks: []target{{`coilkeep_temperature_celsius{bench=~"$bench"}`, "{{bench}}"}}}))
}
