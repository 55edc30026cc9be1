// Package drift says whether a winder wanders: since which coil, by how much,
// whether it is the winder, the wire, the room or the meter, and how many turns
// to change, or that nothing should be changed. It takes coils in the order they
// were wound and returns a [Report].
//
// It is pure: no clock, no files. Reading records, drawing charts and raising
// alerts it leaves to others. The arithmetic is in statistics, charts in
// control, the study of the measuring itself in gauge.
package drift

import (
	"errors"
	"slices"
	"time"

	"coilkeep/internal/control"
)

// ErrInput is returned for coils or options that no analysis can be made of.
var ErrInput = errors.New("no drift analysis from this")

// Coil is one coil as measured, in the order of winding.
type Coil struct {
	// Sequence is the coil's number in its batch; 0 takes its place in the list.
	Sequence int
	// Time of the measurement, in the zone whose time of day matters; zero when
	// not known.
	Time time.Time
	// FirstMeasured is when the coil was measured for the first time, and stands for
	// when it was wound; zero when that is Time.
	FirstMeasured time.Time
	Serial        string
	// MeasurementID names the measurement among the records; empty when there are none.
	MeasurementID string
	// R20Ohms is its resistance at 20 °C, above 0.
	R20Ohms float64
	// ExpandedUncertaintyOhms is U of that, 0 when not known, with its
	// CoverageFactor, 0 for 2.
	ExpandedUncertaintyOhms float64
	CoverageFactor          float64
	// Batch, Spool, Winder and Operator are empty when not known.
	Batch, Spool, Winder, Operator string
	// ComparedBy is what the coil's ohms are multiplied by to stand beside coils
	// wound to another target: that target over its own; 0 is 1. Target is its own
	// in words, empty when all have the same: a change of it is one on record.
	ComparedBy float64
	Target     string
	// Turns on this coil, where they are not those of the options' winding; 0
	// otherwise.
	Turns float64
	// TemperatureCelsius is what the probe showed; nil when not known.
	TemperatureCelsius *float64
	// CheckStandardOhms are what a check standard was measured as since the coil
	// before, in order; mostly none.
	CheckStandardOhms []float64
	// Noted is what somebody wrote on taking note of a signal since the coil before;
	// mostly empty.
	Noted string
	// Verdict is how it was judged when it was measured: in, high, low or undecided;
	// empty when it was not, or that is not known. It is passed on, and weighs nothing.
	Verdict string
	// Doubtful says why a measurement should carry less weight: forced.
	// Such a coil is shown and judged, but never part of a baseline.
	Doubtful string
}

// WoundAt is when the coil was wound, as far as that is known: when it was measured
// for the first time. Measuring a coil again does not move it. Zero when not known.
func (c Coil) WoundAt() time.Time {
	if c.FirstMeasured.IsZero() {
		return c.Time
	}
	return c.FirstMeasured
}

// comparisonFactor is the factor between R20 of a coil and what it is compared by.
func (c Coil) comparisonFactor() float64 {
	if c.ComparedBy == 0 {
		return 1
	}
	return c.ComparedBy
}

// standardError is the standard uncertainty of what a coil is compared by, 0 when
// not known.
func (c Coil) standardError() float64 {
	k := c.CoverageFactor
	if k == 0 {
		k = 2
	}
	return c.ExpandedUncertaintyOhms / k * c.comparisonFactor()
}

// Options are what the analysis needs to know besides the coils. The zero
// Options judge the coils by themselves alone.
type Options struct {
	// TargetOhms, LowerOhms and UpperOhms are of the design; 0 when not known.
	TargetOhms, LowerOhms, UpperOhms float64
	// BaselineCount is how many good coils from the first on set the limits; 0 is
	// [DefaultBaseline].
	BaselineCount int
	// BaselineFrom and BaselineTo choose the coils of a period instead, from the
	// first instant up to and not including the last.
	BaselineFrom, BaselineTo time.Time
	// Frozen is a baseline kept from before; it wins over both.
	Frozen *Baseline
	// Scheme is the charts; the zero Scheme is [control.StandardScheme].
	Scheme control.Scheme
	// FalseAlarms of the scheme, when the caller has them; nil reckons them.
	FalseAlarms *control.FalseAlarms
	// Subgroup is how many coils in a row make a point of the chart of means; 0
	// or 1 for none.
	Subgroup int
	// Winding turns ohms into turns; the zero Winding knows nothing.
	Winding Winding
	// CheckReferenceOhms is the reference value of the check standard; 0 when not known.
	CheckReferenceOhms float64
	// Next is what is on record of the coil to come: spool, winder, operator, batch,
	// target and note. Nil when nothing is.
	Next *Coil
	// LeftOut is true when the coils are only the newest of more.
	LeftOut bool
}

// DefaultBaseline is how many good coils set the limits: with fewer, limits are
// uncertain enough to raise far more false alarms (Quesenberry 1993, Journal of
// Quality Technology 25, 237-247, asks for many more still).
const DefaultBaseline = 40

// confidence is that of every interval, alpha the probability below
// which a change, a trend or an effect is called real.
const (
	confidence = 0.95
	alpha      = 0.01
)

// alphaEach is the third of alpha for each of the ways in which a quiet batch can
// be called drifting: by a step where something changed on record, by a step
// elsewhere, and by a slope.
const alphaEach = alpha / 3

// Report is everything found. The JSON names are contract. Indices count from 1
// in the list of points; sequences are the coils' own numbers. What cannot be
// said is null, and Notes say why.
type Report struct {
	Summary string `json:"summary"` // the sentence that matters
	// Its first part, without a full stop: what moved, since when, by how much, and
	// at what.
	Headline string   `json:"headline"`
	Evidence []string `json:"evidence"` // what speaks for and against that, clause by clause
	// Whether the check standard shows that the meter did not make what the headline
	// tells.
	MeterCleared bool `json:"meter_cleared"`
	// What the check standard says; empty without a step or trend.
	MeterSentence string `json:"meter_sentence"`
	// Whether a step or a trend is established, also one that has ended.
	Drifting      bool            `json:"drifting"`
	Signal        bool            `json:"signal"`         // whether a chart signals at the last coil
	Points        []Point         `json:"points"`         // the coils as charted
	Target        *float64        `json:"target_ohms"`    // of the design, ohms
	Lower         *float64        `json:"lower_ohms"`     // of the tolerance, ohms
	Upper         *float64        `json:"upper_ohms"`     // of the tolerance, ohms
	Baseline      *Baseline       `json:"baseline"`       // the coils that set the limits; null with too few
	Charts        *Charts         `json:"charts"`         // the control charts; null without a baseline
	Rules         []RuleSignal    `json:"rules"`          // the run rules that fired
	FalseAlarms   *FalseAlarmRate `json:"false_alarms"`   // how often a quiet process raises a signal
	Outliers      []Outlier       `json:"outliers"`       // single bad coils, which are left out
	Trend         *Trend          `json:"trend"`          // of the coils since the last change
	EarlierTrends []Trend         `json:"earlier_trends"` // slopes that have ended, the oldest first
	ChangePoints  []ChangePoint   `json:"change_points"`  // the changes of level
	Attribution   []Attribution   `json:"attribution"`    // causes, change by change, the likeliest first
	Factors       []Factor        `json:"factors"`        // the coils compared by what was recorded about them
	// Coils that something recorded sets apart all through; null when nothing does.
	InTurn          *InTurn       `json:"in_turn"`
	Temperature     *Temperature  `json:"temperature"`     // how R20 depends on the temperature it was measured at
	CheckStandard   *CheckChannel `json:"check_standard"`  // the check standard measured between the coils
	Autocorrelation *Dependence   `json:"autocorrelation"` // how far neighbours depend on each other
	Capability      *Capability   `json:"capability"`      // how the process fits into its tolerance
	Advice          *Advice       `json:"advice"`          // what to do to the winder now
	Spools          []SpoolEntry  `json:"spools"`          // the spools in the order of first use
	// The variance split by winder, batch and spool; null when the coils are all of
	// one.
	Spread      *Spread  `json:"spread"`
	Notes       []string `json:"notes"`       // what else a reader should know, and why something is null
	Conventions []string `json:"conventions"` // how it was reckoned
}

// RealTrends are the slopes established, the oldest first.
func (r Report) RealTrends() []Trend {
	trends := slices.Clone(r.EarlierTrends)
	if r.Trend != nil && r.Trend.Real {
		trends = append(trends, *r.Trend)
	}
	return trends
}

// Point is one coil as charted.
type Point struct {
	Index                   int        `json:"index"`                     // its place in this list, from 1
	Sequence                int        `json:"sequence"`                  // the coil's own number
	Time                    *time.Time `json:"time"`                      // when it was measured
	Serial                  string     `json:"serial"`                    // its serial number
	MeasurementID           string     `json:"measurement_id"`            // of the measurement analysed; empty for coils from a file
	R20Ohms                 float64    `json:"r20_ohms"`                  // as measured
	ExpandedUncertaintyOhms *float64   `json:"expanded_uncertainty_ohms"` // of it, 95 %, ohms
	// What is charted and analysed: r20_ohms; for a coil wound to another target it
	// is multiplied by the report's target over the coil's own.
	ComparedOhms float64 `json:"compared_ohms"`
	// Compared_ohms over target, less 1, which is R20 over the coil's own target
	// less 1.
	DeviationRatio *float64 `json:"deviation_ratio"`
	Spool          string   `json:"spool"`       // the wire spool
	Winder         string   `json:"winder"`      // the winding machine
	Operator       string   `json:"operator"`    // the person
	Batch          string   `json:"batch"`       // the batch
	LevelOhms      float64  `json:"level_ohms"`  // where the process stands by the steps and trends found
	Outlier        bool     `json:"outlier"`     // whether it is a single bad coil, and left out
	Verdict        string   `json:"verdict"`     // how it was judged: in, high, low, undecided; empty when it was not
	Doubtful       string   `json:"doubtful"`    // why it carries less weight: forced; empty mostly
	InBaseline     bool     `json:"in_baseline"` // whether the limits were made of it
}

// FalseAlarmRate is how often the charts signal when nothing is wrong.
type FalseAlarmRate struct {
	// After how many coils all charts together signal in a quiet process, on
	// average.
	RunLength      float64 `json:"coils_between"`
	RulesRunLength float64 `json:"coils_between_by_rules"` // the same of the run rules alone
	// The share of quiet batches as long as this one in which at least one signal
	// would be raised.
	InRun        float64 `json:"share_of_batches"`
	InRunByRules float64 `json:"share_of_batches_by_rules"` // the same by the run rules alone
}

// RuleSignal is a run rule that fired at a coil.
type RuleSignal struct {
	Rule     string `json:"rule"`     // its name
	Sequence int    `json:"sequence"` // at which coil
	Index    int    `json:"index"`    // its place in the list of points
	Meaning  string `json:"meaning"`  // what the rule looks for
}

// conventions are said in every report.
var conventions = []string{
	"a value is beyond a limit only when strictly so; a relative excess under 1e-9 counts as on the limit",
	"a point on the centre line is on neither side and ends a run; equal neighbours end a rise, a fall and an alternation",
	"a rule fires at the coil that completes it, which must itself be part of the pattern; every further coil that completes it again " +
		"fires again",
	"charts carry on after a signal and do not start again",
	"outliers are left out of baseline, EWMA, CUSUM, runs, trend, changes and capability; runs carry on over the gap; each is still judged " +
		"by the limits of the individuals chart and by the rules for one point",
	"sigma within is the mean moving range over 1.128; sigma overall is the standard deviation with n - 1",
	"the baseline is the first good coils (no outlier, not forced) and stays as it is until revised",
	"a coil measured with a larger uncertainty than the baseline's usual one has wider limits by the difference in quadrature",
	"EWMA limits are exact: narrower for the first coils; EWMA and CUSUM start at the first coil, at the centre",
	"CUSUM slack k and interval h are in sigma; the sums are shown in sigma",
	"a change's last_before is the last coil of the old level; its p allows for the place having been searched for: among all coils, or " +
		"among the recorded changes of spool, winder, operator, target and batch, and the notes taken of signals",
	"what was recorded to change to and fro, and sets coils apart all through, is taken out before changes and trends are looked for",
	"intervals are at 95 %; a step at a recorded change, a step elsewhere and a trend are each called real below p = 0.0033, so that one " +
		"or two quiet batches in a hundred are called drifting; anything else is called real below p = 0.01",
	"Cp and Cpk use sigma within, Pp and Ppk sigma overall",
	"the trend is that of the coils since the last change",
}
