package warmth

import "math"

// Arrival says how coils come to a bench.
type Arrival string

const (
	// Unknown is a mixture of all three.
	Unknown Arrival = ""
	// Lying coils have been near the probe for long.
	Lying Arrival = "lying"
	// Hand coils were held in the hand or just wound.
	Hand Arrival = "hand"
	// Heat coils were soldered, potted or dried before.
	Heat Arrival = "heat"
	// Rested coils were given time before they were read once, by a person who
	// waited until the value stood still. Nobody tells it of a bench whose meter
	// is read by the program, which sees for itself.
	Rested Arrival = "rested"
)

// Arrivals lists what may be told.
func Arrivals() []Arrival { return []Arrival{Lying, Hand, Heat} }

// Prior is what is taken to be known of a coil before it is read.
type Prior struct {
	Arrival Arrival
	// TimeConstantSeconds is the centre of τ's prior (its median) and
	// TimeConstantRatio the standard deviation of ln τ; 0 means that it was
	// never learned: a factor of two either way.
	TimeConstantSeconds float64
	TimeConstantRatio   float64
	// QuickShare is how much of the excess was learned to be in the wire alone,
	// with its standard deviation QuickShareDeviation; that 0 means that it was
	// never learned.
	QuickShare          float64
	QuickShareDeviation float64
	// SoakedSeconds is how long the coil is known to have lain beside the probe
	// before contact; 0 when nothing is known.
	SoakedSeconds float64
}

// ways is how many components the mixture of arrivals has.
const ways = 5

// arrivalKelvin are the standard deviations of the excess with which coils
// arrive: lying in the room, held in a hand, warm, hot, and whatever else. They
// are choices of ours, a factor of some three apart and on both sides of zero:
// the readings themselves say which it is, and no coil is talked to the probe's
// temperature against them.
var arrivalKelvin = [ways]float64{0.25, 1.2, 4, 13, 40}

// arrivalWeights gives the part of the coils that arrives in each way. What a
// bench is told shifts them and rules nothing out: a coil that comes otherwise
// is to be known by its readings, also by the few before a quick record.
func (p Prior) arrivalWeights() [ways]float64 {
	switch p.Arrival {
	case Rested:
		return [ways]float64{0.87, 0.08, 0.03, 0.013, 0.007}
	case Lying:
		return [ways]float64{0.45, 0.25, 0.17, 0.08, 0.05}
	case Hand:
		return [ways]float64{0.20, 0.50, 0.20, 0.07, 0.03}
	case Heat:
		return [ways]float64{0.10, 0.15, 0.30, 0.35, 0.10}
	}
	return [ways]float64{0.40, 0.25, 0.185, 0.105, 0.06}
}

// The grid over what the model is not linear in. Between its points the readings
// cannot tell more than the discrepancy (see fit.go) allows.
var (
	// tauSteps are standard deviations of ln τ.
	tauSteps = [...]float64{-2.4, -1.6, -0.8, 0, 0.8, 1.6, 2.4}
	// quickShares are closer where a little of the wire rules the slope.
	quickShares = [...]float64{0, 0.012, 0.04, 0.12, 0.3, 0.6}
	// quickSeconds are the wire's time constants. The middle one stands for all
	// where a share below leastToldApart tells them little apart.
	quickSeconds = [...]float64{30, 60, 110}
)

// What is taken to be known of the time constant of a coil nobody watched: a
// factor of two either way is as likely as what was told, and rather longer than
// shorter, for who watches a coil by eye takes it for settled too early; beyond a
// factor of 2.7 there is nothing. In ln(τ/τ0) the density is exp(b·x) out to a
// reach. A normal density wide enough for a factor of two has too much beyond.
// Choices of ours.
const (
	unlearnedReach = 1.0
	unlearnedTilt  = 0.65
)

// timeConstantCell gives ln(τ/centre) and the weight of a point of its grid.
func (p Prior) timeConstantCell(step float64) (logarithm, weight float64) {
	if p.TimeConstantRatio > 0 {
		return step * p.TimeConstantRatio, math.Exp(-step * step / 2)
	}
	x := step / tauSteps[len(tauSteps)-1] * unlearnedReach
	return x, math.Exp(unlearnedTilt * x)
}

// noneQuick is how likely the wire of a coil nobody watched is as warm as its
// bobbin. A choice of ours.
const noneQuick = 0.8

// shareWeights gives the prior of the quick share on its grid.
func (p Prior) shareWeights() (weights [len(quickShares)]float64) {
	if p.QuickShareDeviation == 0 {
		weights[0] = noneQuick
		for i := 1; i < len(quickShares); i++ {
			weights[i] = (1 - noneQuick) / float64(len(quickShares)-1)
		}
		return weights
	}
	// A learned share is a normal distribution, cut off below 0: each point of the
	// grid has what lies between the middles to its neighbours.
	below := normalCDF(-p.QuickShare / p.QuickShareDeviation)
	for i := range quickShares {
		above := 1.0
		if i+1 < len(quickShares) {
			above = normalCDF(((quickShares[i]+quickShares[i+1])/2 - p.QuickShare) / p.QuickShareDeviation)
		}
		weights[i], below = above-below, above
	}
	for i := range weights {
		weights[i] /= 1 - normalCDF(-p.QuickShare/p.QuickShareDeviation)
	}
	return weights
}

func normalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
