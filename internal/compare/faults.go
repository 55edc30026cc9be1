package compare

// Ranges of what may have happened to the coil itself; as those in causes.go,
// this program's own judgement.
const (
	repairedRatio    = 0.4
	leastShort       = 1e-4 // one turn of ten thousand
	mostShortPercent = 95.0 // more is a short from end to end
	endToEndShare    = 0.1
	endToEndTenths   = 4
	leastJointOhms   = 30.0
	mostJointOhms    = 1e8
)

func repairedModel() model {
	return model{
		cause: Repaired, acts: onEvery, weight: 0.5,
		parameter: "change of the coil since we measured it", unit: "%",
		reason: "a coil that was mended or rewound may have any number of turns",
		prior:  constantPieces(piece{-100 * repairedRatio, 100 * repairedRatio, 1, false}),
		apply: func(s situation, percent float64) situation {
			s.circuit.scale = 1 + percent/100
			return s
		},
	}
}

func (in Input) shortedModel() model {
	least := leastShort
	if in.Ours.Turns > 0 {
		least = min(0.1, 1/float64(in.Ours.Turns))
	}
	return model{
		cause: ShortedTurns, acts: onEvery, weight: 3.3, damage: true,
		parameter: "part of the winding that is shorted", unit: "%",
		reason: "from a single turn to all of them; small shorts are as likely as large ones on a logarithmic scale, one in ten is from end " +
			"to end",
		prior: constantPieces(shortPieces(100 * least)...),
		apply: func(s situation, percent float64) situation {
			s.circuit.scale = 1 - percent/100
			return s
		},
	}
}

// shortPieces are the parts of a winding that may be shorted, in percent. Of a
// short from end to end, so little is left that every tenth of what is left is a
// part of its own.
func shortPieces(leastPercent float64) []piece {
	pieces := []piece{{leastPercent, mostShortPercent, 1 - endToEndShare, true}}
	for left, n := 100-mostShortPercent, 0; n < endToEndTenths; n++ {
		pieces = append(pieces, piece{100 - left, 100 - left/10, endToEndShare / endToEndTenths, false})
		left /= 10
	}
	return pieces
}

func openModel() model {
	return model{
		cause: OpenWinding, acts: onEvery, weight: 2.5, damage: true,
		parameter: "resistance of the bad place in the winding", unit: "Ω",
		reason: "a cracked wire or a dry joint inside, from tens of ohms to an open circuit",
		prior:  constantPieces(piece{leastJointOhms, mostJointOhms, 1, true}),
		apply: func(s situation, ohms float64) situation {
			s.circuit.jointOhms = ohms
			return s
		},
	}
}
