// Package historytest makes large histories, for measuring how long answers
// take. What is in them are a few measurements again and again; what those are
// is left to who asks.
package historytest

import (
	"context"
	"database/sql"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	_ "modernc.org/sqlite" // the driver
)

const (
	// Designs is how many designs the coils are shared among, D-0 and so on, which
	// must be there already.
	Designs = 200
	// Benches is how many benches they are measured at, bench-0 and so on.
	Benches = 4
	// Coils is how many coils a batch has, B-0 and so on.
	Coils = 100
)

// Multiply copies the measurements of the history at path in turn, with all that is
// behind them, to so many coils HN-0000001 and so on, one a minute from
// begin, in one batch after another. It writes past the promises of the history,
// so nobody else may write meanwhile.
func Multiply(t testing.TB, path string, coils int, begin time.Time) {
	t.Helper()
	address := url.URL{Scheme: "file", Path: filepath.ToSlash(path),
		RawQuery: url.Values{"_pragma": {"synchronous(off)", "cache_size(-200000)"}}.Encode()}
	db, err := sql.Open("sqlite", address.String())
	if err != nil {
		t.Fatal(err)
	}
	var few int
	if err := db.QueryRowContext(context.Background(), "SELECT COUNT(*) FROM measurements").Scan(&few); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{`
		WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < ?1 / ?3)
		INSERT INTO batches
			SELECT 'B-' || i, 'bench-' || (i % ?4), 'D-' || (i % ?5), 1, '', '', ?2 + i * 6000000000, ?2 + i * 6000000001 FROM n`, `
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?1)
		INSERT INTO coils SELECT printf('HN-%07d', i) FROM n`, `
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?1)
		INSERT INTO measurements SELECT i + ?6, printf('id-HN-%07d', i), ?2 + i * 60000000, 'bench-' || (i / ?3 % ?4), 'B-' || (i / ?3),
			i % ?3 + 1, 'D-' || (i / ?3 % ?5), 1, printf('HN-%07d', i),
			m.resistance_ohms, m.temperature_celsius, m.r20_ohms, m.expanded_uncertainty_ohms, m.coverage_factor, m.verdict,
			m.conformity_probability, m.status, m.reason, m.spool, m.winder, m.operator, m.meter, m.probe, m.stage,
			m.alpha_per_kelvin, m.formula, m.readings, m.standard_deviation_ohms, m.resolution_ohms, m.drift_ohms,
			m.meter_percent, m.meter_ohms, m.correction_ratio, m.lead_ohms, m.lead_half_width_ohms,
			m.probe_half_width_kelvin, m.coil_difference_half_width_kelvin, m.alpha_standard_uncertainty_per_kelvin,
			m.lower_ohms, m.upper_ohms, m.guard_factor, m.notes, m.supersedes, m.capture_seconds,
			m.told_expanded_uncertainty_ohms, m.told_coverage_factor,
			m.copper_excess_kelvin, m.copper_excess_uncertainty_kelvin, m.copper_excess_origin,
			m.meter_calibration_id, m.probe_calibration_id
		FROM n JOIN measurements m ON m.number = 1 + i % ?6`, `
		WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < ?4 - 1)
		INSERT INTO instruments (bench, role, identity, first_us) SELECT 'bench-' || i, role, identity, ?2 FROM n CROSS JOIN instruments`, `
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < ?1)
		INSERT INTO measurement_details (measurement, budget, budget_words, settings, context, readings)
			SELECT i + ?6, budget, budget_words, settings, context, readings FROM n JOIN measurement_details ON measurement = 1 + i % ?6`,
	} {
		if _, err := db.ExecContext(context.Background(), statement, coils, begin.UnixMicro(), Coils, Benches, Designs, few); err != nil {
			t.Fatalf("%v: %s", err, statement)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
