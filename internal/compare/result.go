package compare

import (
	"math"

	"coilkeep/internal/uncertainty"
)

// Result is the answer to a comparison.
//
// The JSON names are contract.
type Result struct {
	Formula int    `json:"formula" openapi:"minimum=1"` // version of the comparison
	Seed    uint64 `json:"seed" openapi:"minimum=0"`    // of the random numbers

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
	Damage              Damage  `json:"damage"` // whether a fault of the coil must be reckoned with
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
	Reading    int     `json:"reading" openapi:"minimum=0"` // its place among the readings, from 0
	TheirsOhms float64 `json:"theirs_ohms"`                 // what they read, ohms
	// That of their meter, 95 %, ohms.
	TheirsExpandedUncertaintyOhms float64 `json:"theirs_expanded_uncertainty_ohms"`
	ExpectedOhms                  float64 `json:"expected_ohms"` // what a perfect meter would have shown them, ohms
	// Of it, 95 %, ohms; on the side of their reading where the interval is not
	// symmetric.
	ExpectedExpandedUncertaintyOhms float64 `json:"expected_expanded_uncertainty_ohms"`
	ExpectedLowOhms                 float64 `json:"expected_low_ohms"`  // lower end of the 95 % interval, ohms
	ExpectedHighOhms                float64 `json:"expected_high_ohms"` // upper end, ohms
	// AtCelsius is the temperature expected at, the middle of what is possible.
	AtCelsius float64 `json:"at_celsius"`
	EN        float64 `json:"e_n"`    // (theirs − expected)/√(U_theirs² + U_expected²)
	Agrees    bool    `json:"agrees"` // whether E_n is from −1 to 1
	// Budget is where the expected value's uncertainty comes from.
	Budget []uncertainty.Component `json:"budget"`
	// MonteCarlo is the propagation of distributions that gave the interval;
	// nil where the inputs are narrow and ordinary propagation serves.
	MonteCarlo *MonteCarlo `json:"monte_carlo"`
	// The other direction; null when why_not_at_20_celsius says why.
	At20  *At20  `json:"at_20_celsius"`
	Why20 string `json:"why_not_at_20_celsius,omitempty"` // why their reading cannot be referred to 20 °C
	// Temperature of the coil if temperature is all that differs, degrees Celsius;
	// null when why_no_implied_celsius says why.
	ImpliedCelsius           *float64 `json:"implied_celsius"`
	ImpliedUncertaintyKelvin *float64 `json:"implied_uncertainty_kelvin"` // of it, 95 %, kelvin
	// Why no temperature gives the reading.
	WhyImplied string `json:"why_no_implied_celsius,omitempty"`
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
	TheirsOhms float64 `json:"theirs_ohms"` // theirs, ohms
	// Of theirs, 95 %, ohms.
	TheirsExpandedUncertaintyOhms float64 `json:"theirs_expanded_uncertainty_ohms"`
	OursOhms                      float64 `json:"ours_ohms"` // ours, ohms
	// Of ours, 95 %, ohms.
	OursExpandedUncertaintyOhms float64 `json:"ours_expanded_uncertainty_ohms"`
	EN                          float64 `json:"e_n"` // e_n of the two
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
	Cause Cause `json:"cause"` // what may have happened
	// Parts are the two causes of a combination; nil otherwise.
	Parts []Cause `json:"parts,omitempty"`
	// Among all causes considered, 0 to 1.
	Probability float64 `json:"probability" openapi:"minimum=0,maximum=1"`
	Words       string  `json:"words"`     // the same in words
	Parameter   string  `json:"parameter"` // what is free in this cause
	Value       float64 `json:"value"`     // what the readings imply for it, in the unit
	Unit        string  `json:"unit"`      // unit of value, low and high
	Low         float64 `json:"low"`       // lower end of its 95 % interval
	High        float64 `json:"high"`      // upper end
	// Reaches is true when the cause can bring about every reading within the
	// range expected of it.
	Reaches bool `json:"reaches"`
	// Damage is true when this cause is a fault of the coil.
	Damage      bool    `json:"damage"`
	PriorLow    float64 `json:"prior_low"`    // lower end of the range expected of the parameter
	PriorHigh   float64 `json:"prior_high"`   // upper end
	PriorReason string  `json:"prior_reason"` // why that range
	Weight      float64 `json:"weight"`       // how often the cause is met, beside the others
	Sentence    string  `json:"sentence"`     // what would have happened
	Test        string  `json:"test"`         // the cheapest test that tells it from the rival
	Rival       Cause   `json:"rival"`        // its strongest rival
}

// Damage says whether a fault of the coil must be reckoned with.
type Damage struct {
	// Probability is that of all faults together, 0 to 1.
	Probability float64 `json:"probability"`
	// Plausible is true when somebody should look after it.
	Plausible bool   `json:"plausible"`
	Advice    string `json:"advice"` // what to do
}

// OfUnexplained is true when a fault is plausible only because nothing explains
// what was read: no probability can be told of it then.
func (d Damage) OfUnexplained() bool {
	return d.Plausible && d.Probability < plausibleDamageUnexplained
}

// TableRow is what a meter should show at one temperature. The interval
// allows for our uncertainty and for the limits of error of their meter.
type TableRow struct {
	Celsius  float64 `json:"celsius"`   // of the copper, degrees Celsius
	Ohms     float64 `json:"ohms"`      // likely, ohms
	LowOhms  float64 `json:"low_ohms"`  // at least, ohms
	HighOhms float64 `json:"high_ohms"` // at most, ohms
}
