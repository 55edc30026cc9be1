package workshop

import (
	"errors"
	"fmt"
	"strconv"

	"coilkeep/internal/cooling"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// ProposeCooling is what curves of one design propose for its next revision; nil
// while they are of too few coils.
func ProposeCooling(curves []record.CoolingCurve) *cooling.Proposal {
	list := make([]cooling.Curve, len(curves))
	for i, c := range curves {
		list[i] = cooling.Curve{Serial: c.Serial, TimeConstantSeconds: c.TimeConstantSeconds,
			TimeConstantErrorSeconds: c.TimeConstantErrorSeconds, QuickShare: c.QuickShare, QuickShareError: c.QuickShareError}
	}
	proposal, ok := cooling.Propose(list)
	if !ok {
		return nil
	}
	return &proposal
}

// CooledCoils is how many coils curves are of.
func CooledCoils(curves []record.CoolingCurve) int {
	coils := map[string]bool{}
	for _, c := range curves {
		if c.Serial != "" {
			coils[c.Serial] = true
		}
	}
	return len(coils)
}

// CoolingToken tells one proposal from another.
func CoolingToken(p cooling.Proposal) string {
	return fmt.Sprintf("%g %g %g %g %d", p.TimeConstantSeconds, p.TimeConstantRatio, p.QuickShare, p.QuickShareDeviation, p.Coils)
}

// WithCooling is a design with what was learned. Three figures of the time constant
// are more than coils agree in.
func WithCooling(d record.Design, p cooling.Proposal) record.Design {
	d.TimeConstantSeconds, d.TimeConstantRatio = Figures(p.TimeConstantSeconds, 3), Figures(p.TimeConstantRatio, 2)
	if p.QuickShareDeviation > 0 {
		d.QuickShare, d.QuickShareDeviation = Figures(p.QuickShare, 2), Figures(p.QuickShareDeviation, 2)
	}
	return d
}

// ErrOtherProposal is the error of ReviseByCooling.
var ErrOtherProposal = errors.New("coils left on the clips propose something else by now; look at it and choose again")

// ReviseByCooling is the latest revision of a design with what its coils propose,
// as somebody has seen it who knows the proposal by its token. It is
// ErrOtherProposal when they propose another by now, or none.
func ReviseByCooling(latest record.Design, curves []record.CoolingCurve, token string) (record.Design, error) {
	p := ProposeCooling(curves)
	if p == nil || CoolingToken(*p) != token {
		return latest, ErrOtherProposal
	}
	return WithCooling(latest, *p), nil
}

// Figures rounds v to so many significant figures.
func Figures(v float64, digits int) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil {
		return v // infinite or no number: as it is, so that it is refused
	}
	return rounded
}

// TimeConstantWords says what a design knows of how fast its coils cool.
func TimeConstantWords(d record.Design) string {
	switch {
	case d.TimeConstantSeconds == 0:
		return "that of the bench"
	case d.TimeConstantRatio == 0:
		return words.AtMost(d.TimeConstantSeconds/60, 3) + " min, a factor of two either way: not learned"
	}
	return words.MinutesWithin(d.TimeConstantSeconds, d.TimeConstantSeconds*d.TimeConstantRatio) + ", learned"
}

// QuickShareWords says what a design knows of the warmth in the wire alone, which
// leaves it within a minute or two.
func QuickShareWords(d record.Design) string {
	if d.QuickShareDeviation == 0 {
		return "not learned"
	}
	return words.Fixed(100*d.QuickShare, 0) + " ± " + words.Fixed(100*d.QuickShareDeviation, 0) + " % of it, learned"
}
