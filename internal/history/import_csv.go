package history

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// CSVOptions is what a CSV file does not say itself.
type CSVOptions struct {
	// File names the file in the reason of each measurement.
	File string
	// Design and Bench are for rows that name none; where they are empty such
	// rows are refused.
	Design, Bench string
	// Zone is that of times which name none; nil refuses them.
	Zone *time.Location
	// Instruments returns what is known of the instruments of a bench, as
	// fields of the inputs: the leads and the correction to take into account,
	// the least resolution, and, only used when accurate is true, the accuracies
	// and what is taken to be known of the copper of a coil nobody watched. Nil
	// knows nothing of any bench.
	Instruments func(bench string) (in r20.Inputs, accurate bool)
}

// ImportCSV adds the rows of a CSV file as typed values, status manual, and
// says how many. Its columns are those of an export in any order. R20, verdict
// and probability are computed from the cells resistance_ohms and
// temperature_celsius, which become the readings; where the row tells them too
// and they disagree by more than their rounding, it is refused. The uncertainty
// is the told one, or follows from the accuracies in o. Rows that are void or
// superseded are left out. A batch that is not there is made, closed; its coils
// are numbered in the order of the file's numbers, without holes.
//
// A row with an id is known when that measurement is there, one without when
// its coil was measured at that time and stage. It is all or nothing: a row
// that is bad or contradicts the history is named by line, and nothing is
// applied. While it runs, other writers wait.
func (s exchange) ImportCSV(ctx context.Context, r io.Reader, o CSVOptions) (Imported, error) {
	coils, leftOut, err := readTyped(r, o)
	if err != nil {
		return Imported{}, fmt.Errorf("import %s: %w; nothing was imported", o.File, err)
	}
	counts := Imported{LeftOut: leftOut}
	err = s.write(ctx, "import "+o.File, func(tx *transaction) error {
		job := csvImporter{importer: importer{file: s.file, tx: tx, counts: &counts}, options: o, designs: map[revision]record.Design{}}
		if err := job.all(ctx, coils); err != nil {
			return fmt.Errorf("%w; nothing was imported", err)
		}
		if counts.added() == 0 {
			return nil
		}
		return s.note(ctx, tx, record.JournalEntry{Action: "import", Subject: "history",
			Detail: fmt.Sprintf("%d typed measurements, %d records in all, from %s", counts.Measurements, counts.added(), o.File)})
	})
	if err != nil {
		return Imported{}, err
	}
	return counts, nil
}

// revision names a revision of a design; number 0 is the latest.
type revision struct {
	design string
	number int
}

type csvImporter struct {
	importer
	options CSVOptions
	designs map[revision]record.Design
}

func (j *csvImporter) all(ctx context.Context, coils []typedCoil) error {
	// The history keeps measurements in the order they were recorded in.
	slices.SortStableFunc(coils, func(a, b typedCoil) int { return a.m.Time.Compare(b.m.Time) })
	var fresh []*typedCoil
	for i := range coils {
		c := &coils[i]
		known, err := j.known(ctx, c)
		if err == nil && !known {
			err = j.compute(ctx, c)
			fresh = append(fresh, c)
		}
		if err != nil {
			return fmt.Errorf("line %d: %w", c.line, err)
		}
	}
	if err := j.batches(ctx, fresh); err != nil {
		return err
	}
	for _, c := range fresh {
		if err := j.insert(ctx, c); err != nil {
			return fmt.Errorf("line %d: %w", c.line, err)
		}
	}
	return nil
}

// known finds a row that is in the history, and refuses one that is there with
// other readings.
func (j *csvImporter) known(ctx context.Context, c *typedCoil) (bool, error) {
	clause, args := `WHERE m.id = ?1`, []any{c.m.ID}
	if c.m.ID == "" {
		clause, args = `WHERE m.serial = ?1 AND m.stage = ?2 AND m.time_us = ?3`, []any{c.m.Serial, c.m.Stage, c.m.Time.UnixMicro()}
	}
	found := false
	err := eachMeasurement(ctx, j.tx, clause, args, func(r row) error {
		if r.Serial != c.m.Serial || r.Stage != c.m.Stage || !r.Time.Equal(c.m.Time) ||
			r.ResistanceOhms != c.m.ResistanceOhms || r.TemperatureCelsius != c.m.TemperatureCelsius {
			return fmt.Errorf("%w: the history has measurement %s, of coil %q, %s, at %s, as %g Ω at %g °C", record.ErrConflict,
				r.ID, r.Serial, r.Stage, r.Time.Format(record.TimeLayout), r.ResistanceOhms, r.TemperatureCelsius)
		}
		found = true
		return nil
	})
	if found {
		j.counts.Known++
	}
	return found, err
}

func (j *csvImporter) design(ctx context.Context, r revision) (record.Design, error) {
	if d, ok := j.designs[r]; ok {
		return d, nil
	}
	find := func() (record.Design, error) { return designRevision(ctx, j.tx, r.design, r.number) }
	if r.number == 0 {
		find = func() (record.Design, error) { return latestDesign(ctx, j.tx, r.design) }
	}
	d, err := find()
	if errors.Is(err, record.ErrNotFound) {
		err = fmt.Errorf("column design: %w; add it first (coilkeep design add)", err)
	}
	if err == nil {
		j.designs[r] = d
	}
	return d, err
}

// compute makes a typed measurement of a row, by the code that computes a
// captured one, and sees that the file agrees.
func (j *csvImporter) compute(ctx context.Context, c *typedCoil) error {
	if c.m.Time.After(j.instant()) {
		return fmt.Errorf("column time: %s has not come yet", c.m.Time.Format(record.TimeLayout))
	}
	d, err := j.design(ctx, revision{c.m.Design, c.m.DesignRevision})
	if err != nil {
		return err
	}
	in, err := j.inputs(c, d)
	if err != nil {
		return err
	}
	result, err := r20.Evaluate(in)
	var bad *r20.InputError
	if errors.As(err, &bad) {
		return fmt.Errorf("%s %s", strings.TrimPrefix(bad.Field, "told_"), bad.Problem)
	}
	if err != nil {
		return err
	}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, d.Tolerance())
	if err != nil {
		return err
	}
	told := c.m.Verdict
	m := &c.m
	m.DesignRevision, m.AlphaPerKelvin, m.Tolerance = d.Revision, in.AlphaPerKelvin, d.Tolerance()
	m.R20Ohms, m.ExpandedUncertaintyOhms, m.CoverageFactor = result.R20Ohms, result.ExpandedUncertaintyOhms, result.CoverageFactor
	m.Verdict, m.ConformityProbability = judged.Verdict, judged.Probability
	m.Formula, m.Inputs, m.Budget = r20.Formula, in, result.Budget
	return c.agrees(told)
}

// inputs is what the result of a row is computed from.
func (j *csvImporter) inputs(c *typedCoil, d record.Design) (r20.Inputs, error) {
	var about r20.Inputs
	accurate := false
	if j.options.Instruments != nil {
		about, accurate = j.options.Instruments(c.m.Bench)
	}
	in := r20.Inputs{
		ResistanceOhms: c.ohms.value, Readings: 1, ResolutionOhms: math.Max(c.ohms.resolution(), about.ResolutionOhms),
		CorrectionRatio: about.CorrectionRatio, LeadOhms: about.LeadOhms,
		TemperatureCelsius: c.celsius.value,
		AlphaPerKelvin:     d.AlphaPerKelvin, AlphaStandardUncertaintyPerKelvin: d.AlphaStandardUncertaintyPerKelvin,
	}
	if c.alpha.told() {
		in.AlphaPerKelvin = c.alpha.value
	}
	switch {
	case c.toldU.told():
		if c.toldU.value == 0 {
			return in, errors.New("expanded_uncertainty_ohms is 0, and no measurement is that good; write what is known, or leave it and " +
				"coverage_factor empty")
		}
		in.ToldExpandedUncertaintyOhms, in.ToldCoverageFactor = c.toldU.value, c.toldK.value
	case !accurate:
		return in, fmt.Errorf("nothing says how well coil %s was measured; fill in expanded_uncertainty_ohms and coverage_factor, "+
			"or tell the accuracies of bench %s by --config or by --meter-percent, --meter-ohms and --temperature-uncertainty", c.m.Serial,
			c.m.Bench)
	default:
		in.MeterPercent, in.MeterOhms, in.LeadHalfWidthOhms = about.MeterPercent, about.MeterOhms, about.LeadHalfWidthOhms
		in.ProbeHalfWidthKelvin = about.ProbeHalfWidthKelvin + c.celsius.resolution()/2
		in.CoilDifferenceHalfWidthKelvin = about.CoilDifferenceHalfWidthKelvin
		in.CopperExcessKelvin = about.CopperExcessKelvin
		in.CopperExcessUncertaintyKelvin, in.CopperExcessOrigin = about.CopperExcessUncertaintyKelvin, about.CopperExcessOrigin
	}
	return in, nil
}

// agrees refuses a row whose own results are not those that were computed.
func (c *typedCoil) agrees(verdict conformity.Verdict) error {
	m := c.m
	if c.r20Ohms.told() && !c.r20Ohms.agrees(m.R20Ohms) {
		return fmt.Errorf("column r20_ohms: the file says %s, but %s Ω at %s °C give %.10g with %g /K, %g Ω of leads and a correction of %g %%; "+
			"mend the row, say how it was reckoned (--lead-ohms, --correction-percent, column alpha_per_kelvin), or leave the column out",
			c.r20Ohms.text, c.ohms.text, c.celsius.text, m.R20Ohms, m.AlphaPerKelvin, m.Inputs.LeadOhms, 100*m.Inputs.CorrectionRatio)
	}
	if verdict != "" && verdict != m.Verdict {
		return fmt.Errorf("column verdict: the file says %q, but %.8g ± %.3g Ω is %q by design %s revision %d; mend the row, say the "+
			"design_revision, or leave the column out",
			verdict, m.R20Ohms, m.ExpandedUncertaintyOhms, m.Verdict, m.Design, m.DesignRevision)
	}
	if p := c.probability; p.told() && math.Abs(p.value-m.ConformityProbability) > p.step/2+probabilityTolerance {
		return fmt.Errorf("column conformity_probability: the file says %s, but %.8g ± %.3g Ω has %.8g by design %s revision %d; mend the "+
			"row, or leave the column out",
			p.text, m.R20Ohms, m.ExpandedUncertaintyOhms, m.ConformityProbability, m.Design, m.DesignRevision)
	}
	return nil
}

func (j *csvImporter) insert(ctx context.Context, c *typedCoil) error {
	at := c.m.Time
	m, readings, err := normalise(c.m, []record.Reading{
		{Time: at, Role: record.Probe, Value: c.celsius.value, Resolution: c.celsius.resolution(), Status: "ok", Raw: c.celsius.text},
		{Time: at, Role: record.Meter, Value: c.ohms.value, Resolution: c.ohms.resolution(), Status: "ok", Raw: c.ohms.text, InWindow: true},
	})
	if err != nil {
		return err
	}
	if err := belongs(ctx, j.tx, m); err != nil {
		return err
	}
	if err := spelledAlike(ctx, j.tx, m.Serial); err != nil {
		return err
	}
	if err := noneStands(ctx, j.tx, m); err != nil {
		return err
	}
	j.counts.Measurements++
	_, err = insertMeasurement(ctx, j.tx, m, readings)
	return err
}
