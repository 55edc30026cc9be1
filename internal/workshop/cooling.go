package workshop

import (
	"coilkeep/internal/cooling"
	"coilkeep/internal/record"
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
