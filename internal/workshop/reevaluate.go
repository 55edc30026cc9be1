package workshop

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/statistics"
	"coilkeep/internal/warmth"
	"coilkeep/internal/words"
)

// Knowledge is what is known today of how coils come to a bench and how they
// cool, for evaluating an older measurement. A zero field tells nothing; what is
// not known is then taken from the settings of the day.
type Knowledge struct {
	Arrive warmth.Arrival
	// Design is the newest revision of the coil's design: what was learned of
	// its time constant since.
	Design *record.Design
}

// in is the settings of the day with what is known today.
func (k Knowledge) in(s capture.Settings) capture.Settings {
	if k.Arrive != warmth.Unknown {
		s.Arrive = k.Arrive
	}
	if k.Design != nil && k.Design.TimeConstantSeconds > 0 {
		s = coolingOf(s, *k.Design)
	}
	return s
}

// OlderFormula is true for a measurement that stands and is by an older formula
// than today's.
func OlderFormula(m record.Measurement) bool { return m.Stands() && m.Formula < r20.Formula }

// OlderRules is true for a measurement that today's rules may evaluate again: it
// was captured or computed by older ones, and its uncertainty was not told as a
// whole. The error is for a context that cannot be read.
func OlderRules(m record.Measurement) (bool, error) {
	if len(m.Context) == 0 { // from a table
		return m.Formula < r20.Formula && m.Inputs.ToldExpandedUncertaintyOhms == 0, nil
	}
	s, err := CapturedOf(m, nil)
	return err == nil && s.Context.Rules < capture.Rules, err
}

// Reevaluate makes of a measurement of older rules what today's rules make of its
// readings, those of the same window, judged by the tolerance of the day. The
// new measurement supersedes the old one; why is kept as its reason. Nothing is
// stored. The error says for people why there is none.
func Reevaluate(m record.Measurement, readings []record.Reading, k Knowledge, why string) (record.Measurement, []record.Reading, error) {
	if len(m.Settings) == 0 || len(m.Context) == 0 {
		return reevaluateTyped(m, readings, k, why)
	}
	old, err := CapturedOf(m, readings)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	result, err := capture.Reassess(k.in(old.Settings), old.Context.Circumstances, old.Entries())
	if err != nil {
		return record.Measurement{}, nil, err
	}
	if !result.Time.Equal(m.Time) {
		return record.Measurement{}, nil, errors.New("its readings do not end when it was taken: they are not those of the day")
	}
	again, entries, err := NewRecord(*result, Filing{})
	if err != nil {
		return record.Measurement{}, nil, err
	}
	again.Context, err = json.Marshal(captureContext{Rules: capture.Rules, Reassessed: true, Circumstances: result.Circumstances()})
	return succeed(again, m, why), entries, err
}

// unwatchedTimeConstant is that of a coil nobody watched, where it plays no part.
const unwatchedTimeConstant = 10 * time.Minute

// reevaluateTyped evaluates a value from a table, which has neither settings nor
// an approach: only what is taken to be known of the copper is new.
func reevaluateTyped(m record.Measurement, readings []record.Reading, k Knowledge, why string) (record.Measurement, []record.Reading,
	error) {
	if m.Inputs.ToldExpandedUncertaintyOhms != 0 {
		return record.Measurement{}, nil, errors.New("its uncertainty was told as a whole, and is not known in parts")
	}
	again := m
	again.ID = ""
	again.Notes = nil
	again.Inputs = k.in(capture.Settings{TimeConstant: unwatchedTimeConstant}).Unwatched(m.Inputs)
	result, err := r20.Evaluate(again.Inputs)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, m.Tolerance)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	again.Formula, again.Budget = r20.Formula, result.Budget
	again.R20Ohms, again.ExpandedUncertaintyOhms, again.CoverageFactor = result.R20Ohms, result.ExpandedUncertaintyOhms, result.CoverageFactor
	again.Verdict, again.ConformityProbability = judged.Verdict, judged.Probability
	return succeed(again, m, why), readings, nil
}

// succeed makes of a new result the measurement that takes the place of old: of
// the same coil, measured by the same people with the same instruments.
func succeed(again, old record.Measurement, why string) record.Measurement {
	again.Bench, again.Batch, again.Sequence = old.Bench, old.Batch, old.Sequence
	again.Design, again.DesignRevision, again.Tolerance = old.Design, old.DesignRevision, old.Tolerance
	again.Serial, again.Stage = old.Serial, old.Stage
	again.Spool, again.Winder, again.Operator = old.Spool, old.Winder, old.Operator
	again.Meter, again.Probe, again.CaptureSeconds = old.Meter, old.Probe, old.CaptureSeconds
	again.MeterCalibrationID, again.ProbeCalibrationID = old.MeterCalibrationID, old.ProbeCalibrationID
	again.Status, again.Reason, again.Supersedes = old.Status, old.Reason, old.ID
	if old.Reason == "" {
		again.Reason = "evaluated again: " + why
	}
	again.Notes = append(again.Notes, fmt.Sprintf("evaluated again from its readings, the copper's temperature estimated; before, %s",
		words.OhmsWithin(old.R20Ohms, old.ExpandedUncertaintyOhms)))
	return again
}

// Reevaluated says what evaluating older measurements again gives, or gave.
type Reevaluated struct {
	Rules   int `json:"rules"`   // the version of the rules everything is evaluated by
	Formula int `json:"formula"` // the version of the formula
	// True when the new results are stored, and false for a preview.
	Applied      bool `json:"applied"`
	Measurements int  `json:"measurements"` // how many have a new result
	// In the order in which their first was measured; those without a batch by
	// design.
	Batches      []ReevaluatedBatch `json:"batches"`
	Left         []LeftAsIs         `json:"left"`         // measurements of older rules that stay as they are
	Certificates string             `json:"certificates"` // what is known of certificates that were issued

	// index finds a batch of Batches.
	index map[[2]string]int
}

func (s *Reevaluated) leave(m record.Measurement, why error) {
	s.Left = append(s.Left, LeftAsIs{Serial: m.Serial, ID: m.ID, Why: why.Error()})
}

// add takes up one measurement before and after.
func (s *Reevaluated) add(old, again record.Measurement) {
	s.Measurements++
	key := [2]string{old.Batch, old.Design}
	i, ok := s.index[key]
	if !ok {
		i = len(s.Batches)
		s.index[key] = i
		s.Batches = append(s.Batches, ReevaluatedBatch{Batch: old.Batch, Design: old.Design, Changed: []ReevaluatedCoil{},
			Outside: []ReevaluatedCoil{}})
	}
	b := &s.Batches[i]
	b.Coils++
	b.before = append(b.before, 100*old.ExpandedUncertaintyOhms/old.R20Ohms)
	b.after = append(b.after, 100*again.ExpandedUncertaintyOhms/again.R20Ohms)
	b.change = append(b.change, 100*(again.R20Ohms/old.R20Ohms-1))
	coil := ReevaluatedCoil{Serial: old.Serial, Stage: old.Stage, ID: old.ID, NewID: again.ID, Time: old.Time,
		R20BeforeOhms: old.R20Ohms, R20AfterOhms: again.R20Ohms,
		ExpandedUncertaintyBeforeOhms: old.ExpandedUncertaintyOhms, ExpandedUncertaintyAfterOhms: again.ExpandedUncertaintyOhms,
		VerdictBefore: old.Verdict, VerdictAfter: again.Verdict, CopperExcessKelvin: again.Inputs.CopperExcessKelvin}
	if old.Verdict != again.Verdict {
		b.Changed = append(b.Changed, coil)
	}
	if off := again.R20Ohms - old.R20Ohms; max(off, -off) > old.ExpandedUncertaintyOhms {
		b.Outside = append(b.Outside, coil)
	}
}

// IssuedCertificates is what can be said of them: printing one leaves no record.
const IssuedCertificates = "No record is kept of which certificates were printed: whoever has one of these coils holds the old values. " +
	"Print new ones for the coils whose verdict changes, and for those that lie outside what was claimed."

// ReevaluatedBatch is what comes of one batch.
type ReevaluatedBatch struct {
	Batch  string `json:"batch"`  // empty for coils measured outside one
	Design string `json:"design"` // the design
	Coils  int    `json:"coils"`  // how many coils
	// The median of U before, percent of R20.
	MedianUncertaintyBeforePercent float64 `json:"median_uncertainty_before_percent"`
	// The median of U after, percent of R20.
	MedianUncertaintyAfterPercent float64 `json:"median_uncertainty_after_percent"`
	// The median of R20 after over R20 before, less one, in percent.
	MedianChangePercent  float64           `json:"median_change_percent"`
	LargestChangePercent float64           `json:"largest_change_percent"` // that of the coil whose R20 changes most, with its sign
	Changed              []ReevaluatedCoil `json:"changed"`                // coils whose verdict changes
	// Coils whose R20 comes to lie outside what the old measurement claimed.
	Outside []ReevaluatedCoil `json:"outside"`

	before, after, change []float64
}

func (b *ReevaluatedBatch) finish() {
	b.MedianUncertaintyBeforePercent = statistics.Median(b.before)
	b.MedianUncertaintyAfterPercent = statistics.Median(b.after)
	b.MedianChangePercent = statistics.Median(b.change)
	b.LargestChangePercent = slices.MaxFunc(b.change, func(x, y float64) int { return cmp.Compare(max(x, -x), max(y, -y)) })
}

// ReevaluatedCoil is one measurement before and after.
type ReevaluatedCoil struct {
	Serial string `json:"serial"` // its serial number
	Stage  string `json:"stage"`  // where in its life it was measured
	ID     string `json:"id"`     // of the old measurement
	// Of the new one, once it is stored.
	NewID string    `json:"new_id,omitempty"`
	Time  time.Time `json:"time"` // when it was measured
	// R20 of the old one.
	R20BeforeOhms float64 `json:"r20_before_ohms"`
	// R20 of the new one.
	R20AfterOhms float64 `json:"r20_after_ohms"`
	// U of the old one.
	ExpandedUncertaintyBeforeOhms float64 `json:"expanded_uncertainty_before_ohms"`
	// U of the new one.
	ExpandedUncertaintyAfterOhms float64 `json:"expanded_uncertainty_after_ohms"`
	// The judgement of the old one.
	VerdictBefore conformity.Verdict `json:"verdict_before"`
	// The judgement of the new one.
	VerdictAfter conformity.Verdict `json:"verdict_after"`
	// How much warmer than the probe the copper is now estimated to have been.
	CopperExcessKelvin float64 `json:"copper_excess_kelvin"`
}

// LeftAsIs is a measurement that is not evaluated again, and why.
type LeftAsIs struct {
	Serial string `json:"serial"` // its serial number
	ID     string `json:"id"`     // of the measurement
	Why    string `json:"why"`    // why it stays
}

// ReevaluationRequest is what somebody wants evaluated again, whether it comes
// from a form, as JSON, or by flags: measurements of a batch, of a design or of
// coils, all there are when none of them is told.
type ReevaluationRequest struct {
	Batch   string   `json:"batch,omitempty"`   // of this batch
	Design  string   `json:"design,omitempty"`  // of this design
	Serials []string `json:"serials,omitempty"` // of these coils
	// Measured from then on.
	Since string `json:"since,omitempty" openapi:"format=date-time"`
	// Store the new results.
	Apply bool `json:"apply,omitempty" openapi:"default=false"`
	// Why; with apply, and needed then.
	Reason string `json:"reason,omitempty"`
	// Who asks; the name of the login where it is left out.
	Who string `json:"who,omitempty"`
}

// Check says what is wrong with a request, whatever the history holds. The error
// is a *record.FieldError.
func (r ReevaluationRequest) Check() error {
	if _, err := r.selection(); err != nil {
		return err
	}
	switch {
	case !r.Apply && r.Reason != "":
		return record.Invalid("reason", "goes with apply; without it nothing is changed")
	case !r.Apply:
		return nil
	case strings.TrimSpace(r.Reason) == "":
		return record.Invalid("reason", "must not be empty: say why they are evaluated again")
	}
	return cmp.Or(record.ValidateReason(r.Reason), record.ValidateLabel("who", r.Who))
}

// selection picks what a request asks for.
func (r ReevaluationRequest) selection() (Selection, error) {
	pick := Selection{Batch: r.Batch, Design: r.Design, Serials: r.Serials}
	if r.Since == "" {
		return pick, nil
	}
	var err error
	if pick.Since, err = time.Parse(time.RFC3339Nano, r.Since); err != nil {
		return pick, record.Invalid("since", "%q is not a time like 2026-03-14T09:30:00Z", r.Since)
	}
	return pick, nil
}

// Do previews what a request asks for, or stores it when that is asked for. The
// error is that of [ReevaluationRequest.Check], [Reevaluation.Preview] or
// [Reevaluation.Apply].
func (r Reevaluation) Do(ctx context.Context, request ReevaluationRequest) (Reevaluated, error) {
	pick, err := request.selection()
	if err = cmp.Or(err, request.Check()); err != nil {
		return Reevaluated{}, err
	}
	if request.Apply {
		return r.Apply(ctx, pick, request.Reason, request.Who)
	}
	return r.Preview(ctx, pick)
}

// Missing finds what a request names that is not there: the field it is in, and
// the store's error. Both are empty when all is there.
func (r Reevaluation) Missing(ctx context.Context, request ReevaluationRequest) (field string, err error) {
	pick, err := request.selection()
	if err != nil {
		return "since", err
	}
	_, field, err = r.spelled(ctx, pick)
	return field, err
}

// Selection picks the measurements to evaluate again; a zero field picks all.
type Selection struct {
	Batch, Design string
	Serials       []string
	// Since is the earliest time.
	Since time.Time
}

// ReevaluationStore is the part of a history that reevaluation needs.
type ReevaluationStore interface {
	Captures
	Design(ctx context.Context, name string) (record.Design, error)
	Batch(ctx context.Context, name string) (record.Batch, error)
	Coil(ctx context.Context, serial string) (record.Coil, error)
	Reevaluate(ctx context.Context, m record.Measurement, readings []record.Reading, why, who string) (record.Measurement, error)
}

// Reevaluation evaluates measurements of older rules by today's.
type Reevaluation struct {
	Store ReevaluationStore
	// Arrive says how coils come to a bench, by its name; benches that are not in
	// it tell nothing.
	Arrive map[string]warmth.Arrival
	// Progress is called now and then with how many measurements were looked at;
	// nil when nobody watches.
	Progress func(done int)
}

// Preview says what would change and stores nothing. The error is one of the
// store's: ErrNotFound for a batch, design or coil that is not there.
func (r Reevaluation) Preview(ctx context.Context, pick Selection) (Reevaluated, error) {
	return r.run(ctx, pick, "preview", func(m record.Measurement, _ []record.Reading) (record.Measurement, error) {
		m.ID = "" // it is not there
		return m, nil
	})
}

// Apply stores the new results, each in place of the old one in one step, with
// the reason and who asked. What was done already is not done again, so that it
// may be repeated when it was interrupted; what it returns then tells of the rest
// only.
func (r Reevaluation) Apply(ctx context.Context, pick Selection, why, who string) (Reevaluated, error) {
	if why == "" {
		return Reevaluated{}, &record.FieldError{Field: "reason", Problem: "must not be empty: say why they are evaluated again"}
	}
	done, err := r.run(ctx, pick, why, func(m record.Measurement, readings []record.Reading) (record.Measurement, error) {
		return r.Store.Reevaluate(ctx, m, readings, why, who)
	})
	done.Applied = true
	return done, err
}

// run evaluates what is picked and hands each result to keep.
func (r Reevaluation) run(ctx context.Context, pick Selection, why string,
	keep func(record.Measurement, []record.Reading) (record.Measurement, error)) (Reevaluated, error) {
	sum := Reevaluated{Rules: capture.Rules, Formula: r20.Formula, Batches: []ReevaluatedBatch{}, Left: []LeftAsIs{},
		Certificates: IssuedCertificates,
		index:        map[[2]string]int{}}
	looked := 0
	designs := map[string]*record.Design{}
	err := r.each(ctx, pick, func(light record.Measurement) error {
		if looked++; looked%100 == 0 && r.Progress != nil {
			r.Progress(looked)
		}
		if !light.Stands() {
			return nil
		}
		m, readings, err := r.Store.Measurement(ctx, light.ID)
		if err != nil {
			return err
		}
		older, err := OlderRules(m)
		if err != nil {
			sum.leave(m, err)
			return nil
		}
		if !older {
			return nil
		}
		design, err := r.design(ctx, designs, m.Design)
		if err != nil {
			return err
		}
		again, entries, err := Reevaluate(m, readings, Knowledge{Arrive: r.Arrive[m.Bench], Design: design}, why)
		if err != nil {
			sum.leave(m, err)
			return nil
		}
		again, err = keep(again, entries)
		switch {
		case errors.Is(err, record.ErrConflict): // withdrawn while we looked
			sum.leave(m, err)
			return nil
		case err != nil:
			return err
		}
		sum.add(m, again)
		return nil
	})
	for i := range sum.Batches {
		sum.Batches[i].finish()
	}
	return sum, err
}

// design is the newest revision, asked for once.
func (r Reevaluation) design(ctx context.Context, known map[string]*record.Design, name string) (*record.Design, error) {
	if d, ok := known[name]; ok {
		return d, nil
	}
	d, err := r.Store.Design(ctx, name)
	if err != nil {
		return nil, fmt.Errorf("design of the coils: %w", err)
	}
	known[name] = &d
	return &d, nil
}

// each calls do for every measurement that is picked, the oldest first.
func (r Reevaluation) each(ctx context.Context, pick Selection, do func(record.Measurement) error) error {
	pick, _, err := r.spelled(ctx, pick)
	if err != nil {
		return err
	}
	serials := pick.Serials
	if len(serials) == 0 {
		serials = []string{""}
	}
	for _, serial := range serials {
		f := record.Filter{Batch: pick.Batch, Design: pick.Design, Serial: serial, From: pick.Since, Limit: 1000}
		for {
			page, next, err := r.Store.Measurements(ctx, f)
			if err != nil {
				return err
			}
			for _, m := range page {
				if err := cmp.Or(ctx.Err(), do(m)); err != nil {
					return err
				}
			}
			if next == "" {
				break
			}
			f.After = next
		}
	}
	return nil
}

// spelled is a selection with its coils as they are spelled, each once. What is
// picked by name and is not there is an error, and field where it was named: a
// slip in a name would else look like nothing to do.
func (r Reevaluation) spelled(ctx context.Context, pick Selection) (_ Selection, field string, err error) {
	if pick.Batch != "" {
		if _, err := r.Store.Batch(ctx, pick.Batch); err != nil {
			return pick, "batch", err
		}
	}
	if pick.Design != "" {
		if _, err := r.Store.Design(ctx, pick.Design); err != nil {
			return pick, "design", err
		}
	}
	spelled := make([]string, 0, len(pick.Serials))
	for _, serial := range pick.Serials {
		coil, err := r.Store.Coil(ctx, serial)
		if err != nil {
			return pick, "serials", err
		}
		if !slices.Contains(spelled, coil.Serial) {
			spelled = append(spelled, coil.Serial)
		}
	}
	pick.Serials = spelled
	return pick, "", nil
}

// Changed lists the coils of all batches whose verdict changes.
func (s Reevaluated) Changed() (coils []ReevaluatedCoil) {
	for _, b := range s.Batches {
		coils = append(coils, b.Changed...)
	}
	return coils
}

// Outside lists those of which R20 comes to lie outside what was claimed.
func (s Reevaluated) Outside() (coils []ReevaluatedCoil) {
	for _, b := range s.Batches {
		coils = append(coils, b.Outside...)
	}
	return coils
}
