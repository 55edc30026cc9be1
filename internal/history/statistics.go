package history

import (
	"context"
	"database/sql"
	"math"
	"slices"

	"coilkeep/internal/record"
)

// BatchStatistics returns the statistics of a batch without the coils of some
// serial numbers; all zero when it has no measurement that stands or there is no
// such batch.
func (s batchRecords) BatchStatistics(ctx context.Context, batch string, without ...string) (record.BatchStatistics, error) {
	var values []float64
	// SQLite takes r20_ohms from the row that holds the maximum
	// (https://www.sqlite.org/lang_select.html#bareagg).
	err := rows(ctx, s.readers, `
		SELECT m.serial, m.r20_ohms, MAX(m.time_us)`+measurementTables+`
		WHERE m.batch = ?1 AND a.status IS NULL
		GROUP BY m.serial`, []any{batch}, func(r *sql.Rows) error {
		var serial string
		var value float64
		var newestUS int64
		err := r.Scan(&serial, &value, &newestUS)
		if !slices.Contains(without, serial) {
			values = append(values, value)
		}
		return err
	})
	if err != nil {
		return record.BatchStatistics{}, explain(s.path, "batch statistics", err)
	}
	return statistics(values), nil
}

// WithdrawnCoils counts, batch by batch, the coils none of whose measurements
// stands. A batch without such a coil is not in the map.
func (s batchRecords) WithdrawnCoils(ctx context.Context) (map[string]int, error) {
	counts := map[string]int{}
	err := rows(ctx, s.readers, `
		SELECT m.batch, COUNT(DISTINCT m.sequence)
		FROM annotations a JOIN measurements m ON m.number = a.measurement
		WHERE m.batch IS NOT NULL AND a.status = 'void' AND NOT EXISTS (
			SELECT 1 FROM measurements o LEFT JOIN annotations oa ON oa.measurement = o.number
			WHERE o.batch = m.batch AND o.sequence = m.sequence AND oa.status IS NULL)
		GROUP BY m.batch`, nil, func(r *sql.Rows) error {
		var batch string
		var count int
		err := r.Scan(&batch, &count)
		counts[batch] = count
		return err
	})
	return counts, explain(s.path, "count withdrawn coils", err)
}

// statistics shifts by the first value and then takes two passes, so that no
// digits are lost when the values differ little: T. F. Chan, G. H. Golub and
// R. J. LeVeque, "Algorithms for computing the sample variance: analysis and
// recommendations", The American Statistician 37 (1983) 242–247.
func statistics(values []float64) record.BatchStatistics {
	if len(values) == 0 {
		return record.BatchStatistics{}
	}
	n, first := float64(len(values)), values[0]
	b := record.BatchStatistics{Count: len(values), MinimumOhms: first, MaximumOhms: first}
	var shifted float64
	for _, v := range values {
		shifted += v - first
		b.MinimumOhms, b.MaximumOhms = min(b.MinimumOhms, v), max(b.MaximumOhms, v)
	}
	shifted /= n
	b.MeanOhms = first + shifted
	var squares, rest float64
	for _, v := range values {
		d := v - first - shifted
		squares += d * d
		rest += d
	}
	if len(values) > 1 {
		b.StandardDeviationOhms = math.Sqrt((squares - rest*rest/n) / (n - 1))
	}
	return b
}
