package history

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/sheet"
	"coilkeep/internal/words"
)

// Export writes the measurements that match, in order of time for CSV and in
// order of recording for JSONL; Filter.After, Limit and Newest must be zero.
//
// CSV holds one line for each measurement as it stands today, without what
// lies behind it. A text that a spreadsheet would run as a formula gets an
// apostrophe in front. JSONL holds everything about them, with the designs,
// batches and calibrations they need; with a zero filter also all other designs,
// batches, calibrations, check measurements, lead zeros, assemblies, comparisons,
// baselines, study readings, cooling curves, soaks, what was not recorded and the
// journal.
func (s exchange) Export(ctx context.Context, w io.Writer, format string, f record.Filter) error {
	var write func(context.Context, querier, io.Writer, record.Filter) error
	switch format {
	case record.CSV:
		write = exportCSV
	case record.JSONL:
		write = s.exportJSONL
	default:
		return fmt.Errorf("export: %w", record.Invalid("format", "must be %q or %q, not %q", record.CSV, record.JSONL, format))
	}
	if f.After != "" || f.Limit != 0 || f.Newest {
		return fmt.Errorf("export: %w", record.Invalid("limit", "an export is always whole and oldest first: after, limit and newest must "+
			"be left out"))
	}
	return s.read(ctx, "export", func(q querier) error { return write(ctx, q, w, f) })
}

// csvColumns are the columns of a measurement in their order.
var csvColumns = []struct {
	name string
	text func(record.Measurement) string
}{
	{"id", func(m record.Measurement) string { return sheet.Guard(m.ID) }},
	{"time", func(m record.Measurement) string { return m.Time.Format(record.TimeLayout) }},
	{"bench", func(m record.Measurement) string { return sheet.Guard(m.Bench) }},
	{"batch", func(m record.Measurement) string { return sheet.Guard(m.Batch) }},
	{"sequence", func(m record.Measurement) string { return strconv.Itoa(m.Sequence) }},
	{"design", func(m record.Measurement) string { return sheet.Guard(m.Design) }},
	{"design_revision", func(m record.Measurement) string { return strconv.Itoa(m.DesignRevision) }},
	{"serial", func(m record.Measurement) string { return sheet.Guard(m.Serial) }},
	{"resistance_ohms", func(m record.Measurement) string { return words.Plain(m.ResistanceOhms) }},
	{"temperature_celsius", func(m record.Measurement) string { return words.Plain(m.TemperatureCelsius) }},
	{"r20_ohms", func(m record.Measurement) string { return words.Plain(m.R20Ohms) }},
	{"expanded_uncertainty_ohms", func(m record.Measurement) string { return words.Plain(m.ExpandedUncertaintyOhms) }},
	{"coverage_factor", func(m record.Measurement) string { return words.Plain(m.CoverageFactor) }},
	{"verdict", func(m record.Measurement) string { return string(m.Verdict) }},
	{"conformity_probability", func(m record.Measurement) string { return words.Plain(m.ConformityProbability) }},
	{"status", func(m record.Measurement) string { return string(m.Status) }},
	{"reason", func(m record.Measurement) string { return sheet.Guard(m.Reason) }},
	{"spool", func(m record.Measurement) string { return sheet.Guard(m.Spool) }},
	{"winder", func(m record.Measurement) string { return sheet.Guard(m.Winder) }},
	{"operator", func(m record.Measurement) string { return sheet.Guard(m.Operator) }},
	{"meter", func(m record.Measurement) string { return sheet.Guard(m.Meter) }},
	{"probe", func(m record.Measurement) string { return sheet.Guard(m.Probe) }},
	{"stage", func(m record.Measurement) string { return sheet.Guard(m.Stage) }},
	{"alpha_per_kelvin", func(m record.Measurement) string { return words.Plain(m.AlphaPerKelvin) }},
}

func exportCSV(ctx context.Context, q querier, w io.Writer, f record.Filter) error {
	table := csv.NewWriter(w)
	table.UseCRLF = true
	record := make([]string, len(csvColumns))
	for i, column := range csvColumns {
		record[i] = column.name
	}
	if err := table.Write(record); err != nil {
		return err
	}
	c := pickedBy(f)
	err := eachMeasurement(ctx, q, c.where()+orderOf(f), c.args, func(r row) error {
		m := r.today()
		for i, column := range csvColumns {
			record[i] = column.text(m)
		}
		return table.Write(record)
	})
	if err != nil {
		return err
	}
	table.Flush()
	return table.Error()
}

// exportVersion goes up whenever a line would be read differently.
const exportVersion = 1

// line is one line of JSON Lines: its type, the record under a key of that name,
// and what goes with a measurement.
type line struct {
	kind      string
	record    any
	readings  []record.Reading
	withdrawn *withdrawal
}

func (l line) write(w io.Writer) error {
	var text bytes.Buffer
	fmt.Fprintf(&text, `{"type":%q`, l.kind)
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	put := func(key string, value any) error {
		fmt.Fprintf(&text, `,%q:`, key)
		err := encoder.Encode(value)
		text.Truncate(text.Len() - 1) // the line end that Encode adds
		return err
	}
	err := put(l.kind, l.record)
	if len(l.readings) > 0 {
		err = errors.Join(err, put("readings", l.readings))
	}
	if l.withdrawn != nil {
		err = errors.Join(err, put("withdrawn", l.withdrawn))
	}
	if err != nil {
		return err
	}
	text.WriteString("}\n")
	_, err = text.WriteTo(w)
	return err
}

// exportHeader is the first line.
type exportHeader struct {
	Version    int       `json:"version"`
	ExportedAt time.Time `json:"exported_at"`
}

// exportEnd is the last line, so that a file cut short shows.
type exportEnd struct {
	Lines int `json:"lines"` // before this one
}

// withdrawal goes with a measurement that is void or superseded. The
// measurement shows how it stands today; this says how it was recorded.
type withdrawal struct {
	annotation
	RecordedStatus record.Status `json:"recorded_status"`
	RecordedReason string        `json:"recorded_reason,omitempty"`
}

func (s exchange) exportJSONL(ctx context.Context, q querier, w io.Writer, f record.Filter) error {
	lines := 0
	put := func(l line) error {
		lines++
		return l.write(w)
	}
	if err := put(line{kind: "history", record: exportHeader{Version: exportVersion, ExportedAt: s.instant()}}); err != nil {
		return err
	}
	c := pickedBy(f)
	if err := exportFrame(ctx, q, c, put); err != nil {
		return err
	}
	err := eachMeasurement(ctx, q, c.where()+` ORDER BY m.number`, c.args, func(r row) error {
		l, err := measurementLine(ctx, q, r)
		if err != nil {
			return err
		}
		return put(l)
	})
	if err != nil {
		return err
	}
	if f != (record.Filter{}) {
		err = exportApplied(ctx, q, c, put)
	} else {
		for _, c := range carried {
			err = cmp.Or(err, c.export(ctx, q, put))
		}
	}
	if err != nil {
		return err
	}
	return put(line{kind: "end", record: exportEnd{Lines: lines}})
}

// exportFrame writes the designs and batches: those that the picked
// measurements need, or all when nothing is picked.
func exportFrame(ctx context.Context, q querier, c conditions, put func(line) error) error {
	var designs, batches string
	if len(c.terms) > 0 {
		picked := ` FROM measurements m ` + c.where()
		designs = `WHERE (d.name, d.revision) IN (
			SELECT m.design, m.design_revision` + picked + `
			UNION SELECT design, design_revision FROM batches WHERE name IN (SELECT m.batch` + picked + `))`
		batches = `WHERE b.name IN (SELECT m.batch` + picked + `)`
	}
	designList, err := listDesigns(ctx, q, designs+` ORDER BY d.created_us, d.name, d.revision`, c.args...)
	if err != nil {
		return err
	}
	batchList, err := listBatches(ctx, q, batches+` ORDER BY b.opened_us, b.name`, c.args...)
	if err != nil {
		return err
	}
	for _, d := range designList {
		if err := put(line{kind: "design", record: d}); err != nil {
			return err
		}
	}
	for _, b := range batchList {
		if err := put(line{kind: "batch", record: b}); err != nil {
			return err
		}
	}
	return nil
}

// exportApplied writes the calibrations that were applied to the picked measurements.
func exportApplied(ctx context.Context, q querier, c conditions, put func(line) error) error {
	picked := ` FROM measurements m ` + c.where()
	return calibrations.exportPicked(ctx, q, put, `WHERE id IN (
		SELECT m.meter_calibration_id`+picked+`
		UNION SELECT m.probe_calibration_id`+picked+`)`, c.args...)
}

func measurementLine(ctx context.Context, q querier, r row) (line, error) {
	readings, err := addDetails(ctx, q, &r)
	m := r.today()
	l := line{kind: "measurement", record: m, readings: readings}
	if !r.annotation.live() {
		l.withdrawn = &withdrawal{annotation: r.annotation, RecordedStatus: r.Status, RecordedReason: r.Reason}
	}
	return l, err
}
