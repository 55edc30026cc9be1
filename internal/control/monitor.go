package control

import (
	"fmt"
	"math"
)

// Scheme is which charts watch a series, and how closely.
type Scheme struct {
	// Rules read the chart of individuals.
	Rules RuleSet
	// Lambda is the weight of the newest point in the EWMA, above 0 to 1, and
	// EWMALimit its limits in standard deviations of the EWMA.
	Lambda, EWMALimit float64
	// Slack is k, half the shift the CUSUM is tuned to, and DecisionInterval h,
	// both in sigma.
	Slack, DecisionInterval float64
}

// StandardScheme watches with the Western Electric rules, an EWMA of lambda 0.2
// with limits at 2.962 (one false alarm in 500 points) and a CUSUM of k = 0.5
// and h = 5 (one in 465): average run lengths with known limits, from the
// integral equations of Crowder (1987) and Brook and Evans (1972).
func StandardScheme() Scheme {
	return Scheme{Rules: WesternElectric, Lambda: 0.2, EWMALimit: 2.962, Slack: 0.5, DecisionInterval: 5}
}

// Check returns an error wrapping [ErrInput] that names what will not do.
func (s Scheme) Check() error {
	for _, v := range []struct {
		name  string
		value float64
		most  float64
	}{
		{"EWMA weight lambda", s.Lambda, 1},
		{"EWMA limit", s.EWMALimit, 10},
		{"CUSUM decision interval", s.DecisionInterval, 100},
	} {
		if !(v.value > 0 && v.value <= v.most) {
			return fmt.Errorf("%s %g: %w; give a number above 0, up to %g", v.name, v.value, ErrInput, v.most)
		}
	}
	if !(s.Slack >= 0 && s.Slack <= 10) {
		return fmt.Errorf("CUSUM slack %g: %w; give 0 to 10 sigma", s.Slack, ErrInput)
	}
	return nil
}

// Step is where the charts stand after a point, all in sigma units.
type Step struct {
	// Fired is the rules that the point completes.
	Fired RuleSet
	// EWMA is Lambda·z + (1 − Lambda)·(the one before), from 0, and
	// EWMALimit its exact limit at this point (Lucas and Saccucci 1990,
	// Technometrics 32, 1-12): narrower for the first points than later.
	EWMA, EWMALimit float64
	// Up and Down are the one-sided sums of the tabular CUSUM, from 0:
	// max(0, sum ± z − k), and UpRun and DownRun how many points they have been
	// above 0 (Montgomery 1991, chapter 7).
	Up, Down       float64
	UpRun, DownRun int
	// EWMASignal and CUSUMSignal are true beyond the limits, strictly.
	EWMASignal, CUSUMSignal bool
}

// Signal says whether any chart signals.
func (s Step) Signal() bool { return s.Fired != 0 || s.EWMASignal || s.CUSUMSignal }

// Monitor runs a scheme along a series in constant memory. It carries on after a
// signal and does not start again. A missing value is left out by not adding it:
// runs continue over the gap. Make one with [NewMonitor].
type Monitor struct {
	scheme Scheme
	runs   runs
	step   Step
	// left is (1 − Lambda) to twice the number of points.
	left float64
}

// NewMonitor starts a scheme, which must pass [Scheme.Check].
func NewMonitor(s Scheme) (*Monitor, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	return newMonitor(s), nil
}

func newMonitor(s Scheme) *Monitor { return &Monitor{scheme: s, left: 1} }

// Add takes the next point, in sigma from the centre; it must be finite.
func (m *Monitor) Add(z float64) Step {
	keep := 1 - m.scheme.Lambda
	m.left *= keep * keep
	s := &m.step
	s.Fired = m.runs.rulesCompletedBy(z) & m.scheme.Rules
	s.EWMA = m.scheme.Lambda*z + keep*s.EWMA
	s.EWMALimit = m.scheme.EWMALimit * math.Sqrt(m.scheme.Lambda/(2-m.scheme.Lambda)*(1-m.left))
	s.Up, s.UpRun = cusumStep(s.Up+z-m.scheme.Slack, s.UpRun)
	s.Down, s.DownRun = cusumStep(s.Down-z-m.scheme.Slack, s.DownRun)
	s.EWMASignal = Beyond(math.Abs(s.EWMA), s.EWMALimit)
	s.CUSUMSignal = Beyond(max(s.Up, s.Down), m.scheme.DecisionInterval)
	return *s
}

func cusumStep(sum float64, run int) (float64, int) {
	if sum <= 0 {
		return 0, 0
	}
	return sum, run + 1
}
