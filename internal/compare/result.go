package compare

import (
	"math"

	"coilkeep/internal/uncertainty"
)

// Result is the answer to an Input. The JSON names are contract.
type Result struct {
	Formula int    `json:"formula"`
	Seed    uint64 `json:"seed"`

	// Setting is the reading of Input.Theirs that is furthest from what was
	// expected; with one reading, that one. Its fields stand in the result
	// itself.
	Setting

	// Agrees is true when every reading agrees.
	Agrees bool `json:"agrees"`
	// Meaning says in plain words what agreement or its lack means here.
	Meaning string `json:"meaning"`
	// Assumptions lists what was taken for granted because nobody told.
	Assumptions []string `json:"assumptions"`
	// Explanations are the causes worth naming, the most probable first.
	Explanations []Explanation `json:"explanations"`
	// UnlistedProbability is that of all causes not worth naming, together.
	UnlistedProbability float64 `json:"unlisted_probability"`
	Damage              Damage  `json:"damage"`
	// Table says what a meter like theirs should show on this coil, connected
	// as they connected it, from 0 to 40 °C.
	Table []TableRow `json:"table"`
	// Settings holds every reading in the order given.
	Settings []Setting `json:"settings"`
	// Answer is a letter to the buyer, to be edited before it is sent.
	Answer string `json:"answer"`
}

// Setting is one of their readings set against our record.
type Setting struct {
	// Reading is its place in Input.Theirs, from 0.
	Reading    int     `json:"reading"`
	TheirsOhms float64 `json:"theirs_ohms"`
	// TheirsExpandedUncertaintyOhms is that of their meter alone.
	TheirsExpandedUncertaintyOhms float64 `json:"theirs_expanded_uncertainty_ohms"`
	// ExpectedOhms is what a perfect meter would have shown them, with its
	// expanded uncertainty (95 %): our own, and that of their conditions. Where
	// the interval is not symmetric the uncertainty is that of the side their
	// reading is on.
	ExpectedOhms                    float64 `json:"expected_ohms"`
	ExpectedExpandedUncertaintyOhms float64 `json:"expected_expanded_uncertainty_ohms"`
	ExpectedLowOhms                 float64 `json:"expected_low_ohms"`
	ExpectedHighOhms                float64 `json:"expected_high_ohms"`
	// AtCelsius is the temperature expected at, the middle of what is possible.
	AtCelsius float64 `json:"at_celsius"`
	// EN is (theirs − expected)/√(U_theirs² + U_expected²); Agrees is |EN| ≤ 1.
	EN     float64 `json:"e_n"`
	Agrees bool    `json:"agrees"`
	// Budget is where the expected value's uncertainty comes from.
	Budget []uncertainty.Component `json:"budget"`
	// MonteCarlo is the propagation of distributions that gave the interval;
	// nil where the inputs are narrow and ordinary propagation serves.
	MonteCarlo *MonteCarlo `json:"monte_carlo"`
	// At20 is the other direction, and nil when Why20 says why there is none.
	At20  *At20  `json:"at_20_celsius"`
	Why20 string `json:"why_not_at_20_celsius,omitempty"`
	// ImpliedCelsius is the temperature of the coil if temperature is all that
	// differs, and ImpliedUncertaintyKelvin its expanded uncertainty; nil when
	// WhyImplied says why there is none.
	ImpliedCelsius           *float64 `json:"implied_celsius"`
	ImpliedUncertaintyKelvin *float64 `json:"implied_uncertainty_kelvin"`
	WhyImplied               string   `json:"why_no_implied_celsius,omitempty"`
}

// StepOhms is the last place in which the expected range says anything: that of
// the second digit of its half-width. Letters, pages and papers tell the range
// in it, so that they tell the same.
func (s Setting) StepOhms() float64 {
	return math.Pow10(int(math.Floor(math.Log10(max(s.ExpectedExpandedUncertaintyOhms, 1)))) - 1)
}

// At20 is their reading taken back through their circuit and referred to 20 °C,
// against our R20.
type At20 struct {
	TheirsOhms                    float64 `json:"theirs_ohms"`
	TheirsExpandedUncertaintyOhms float64 `json:"theirs_expanded_uncertainty_ohms"`
	OursOhms                      float64 `json:"ours_ohms"`
	OursExpandedUncertaintyOhms   float64 `json:"ours_expanded_uncertainty_ohms"`
	EN                            float64 `json:"e_n"`
}

// Cause names an explanation. Its text is contract.
type Cause string

// The causes.
const (
	// MeterAccuracy: nothing is at work but the conditions as told or assumed
	// and a meter that is off by what meters are off by.
	MeterAccuracy   Cause = "meter-accuracy"
	Temperature     Cause = "temperature"
	ParallelControl Cause = "parallel-control"
	// ControlPosition: a volume control in circuit was not fully up.
	ControlPosition Cause = "control-position"
	ParallelHands   Cause = "parallel-hands"
	SeriesContact   Cause = "series-contact"
	WiringSeries    Cause = "wiring-series"
	WiringParallel  Cause = "wiring-parallel"
	WiringSingle    Cause = "wiring-single"
	MainsHum        Cause = "mains-hum"
	RangeOrUnit     Cause = "range-or-unit"
	OtherCoil       Cause = "other-coil"
	// Repaired: the coil was rewound or mended since we measured it.
	Repaired     Cause = "repaired"
	ShortedTurns Cause = "shorted-turns"
	OpenWinding  Cause = "open-winding"
	Combination  Cause = "combination"
	// Unexplained: something nobody thought of.
	Unexplained Cause = "unexplained"
)

// Explanation is one cause that would explain the readings.
type Explanation struct {
	Cause Cause `json:"cause"`
	// Parts are the two causes of a combination; nil otherwise.
	Parts []Cause `json:"parts,omitempty"`
	// Probability is that of this cause among all considered, 0 to 1, and Words
	// the same in words.
	Probability float64 `json:"probability"`
	Words       string  `json:"words"`
	// Parameter names what is free in this cause; Value is what the readings
	// imply for it, Low to High its 95 % interval, in Unit.
	Parameter string  `json:"parameter"`
	Value     float64 `json:"value"`
	Unit      string  `json:"unit"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	// Reaches is true when the cause can bring about every reading within the
	// range expected of it.
	Reaches bool `json:"reaches"`
	// Damage is true when this cause is a fault of the coil.
	Damage bool `json:"damage"`
	// PriorLow to PriorHigh is the range expected of the parameter, with the
	// reason; Weight is how often the cause is met, relative to the others.
	PriorLow    float64 `json:"prior_low"`
	PriorHigh   float64 `json:"prior_high"`
	PriorReason string  `json:"prior_reason"`
	Weight      float64 `json:"weight"`
	Sentence    string  `json:"sentence"`
	// Test is the cheapest test that would tell this cause from its strongest
	// rival, Rival, with what to expect.
	Test  string `json:"test"`
	Rival Cause  `json:"rival"`
}

// Damage says whether a fault of the coil must be reckoned with.
type Damage struct {
	// Probability is that of all faults together, 0 to 1.
	Probability float64 `json:"probability"`
	// Plausible is true when somebody should look after it.
	Plausible bool   `json:"plausible"`
	Advice    string `json:"advice"`
}

// OfUnexplained is true when a fault is plausible only because nothing explains
// what was read: no probability can be told of it then.
func (d Damage) OfUnexplained() bool {
	return d.Plausible && d.Probability < plausibleDamageUnexplained
}

// TableRow is what a meter should show at one temperature. Low and High allow
// for our uncertainty and for the limits of error of their meter.
type TableRow struct {
	Celsius  float64 `json:"celsius"`
	Ohms     float64 `json:"ohms"`
	LowOhms  float64 `json:"low_ohms"`
	HighOhms float64 `json:"high_ohms"`
}
