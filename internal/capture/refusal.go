package capture

import "coilkeep/internal/words"

// shortfall is why nothing would come of a contact if it ended now; the zero
// value when nothing stands against it.
type shortfall struct {
	refusal Refusal
	// words says it in a sentence.
	words string
}

// wordsFor says in a sentence why nothing was recorded: as it was noted, where the
// reason is that one.
func (s shortfall) wordsFor(why Refusal) string {
	if why == s.refusal && s.words != "" {
		return s.words
	}
	return why.words()
}

// shortfallOf is that of a present window and the last good one before it. What
// the last readings before the clips open look like is no reason: once there was a
// good window, it is that its verdict was not certain.
func shortfallOf(present, kept assessment, patienceOver bool) shortfall {
	switch {
	case kept.r20 != nil && kept.steady() && !kept.certain():
		return shortfall{Undecided, kept.doubt()}
	case kept.r20 != nil && !kept.certain():
		return shortfall{Drifting, "it was " + kept.words}
	}
	why := present.refusal
	if why == Unsteady && present.window.spoiledLast() && !patienceOver {
		why = TooShort // what the clips do to the last reading is no scatter
	}
	if why == Temperature {
		return shortfall{why, present.words}
	}
	return shortfall{why, why.words()}
}

// doubt says why a steady window was not certain.
func (a assessment) doubt() string {
	return "it came off before the verdict was certain: U was still " + words.PercentRoughly(a.percent())
}

// words says a refusal where nothing more is known.
func (r Refusal) words() string {
	switch r {
	case TooShort:
		return "it came off before the readings were steady"
	case Undecided:
		return "it came off before the verdict was certain"
	case Unsteady:
		return "the readings were not steady"
	case Drifting:
		return "it was still warming or cooling"
	case Temperature:
		return "there was no temperature"
	case BelowRange:
		return "the value was below the contact range"
	case OnHold:
		return "a question was open"
	case MeterLost:
		return "the meter went away"
	}
	return "it was not clear which coil was on the clips"
}
