package control

import (
	"fmt"
	"math"
	"strings"
)

// Rule is one run rule.
type Rule uint8

// The zone tests of the Western Electric Statistical Quality Control Handbook
// (1956) and the tests for special causes of Nelson (1984, Journal of Quality
// Technology 16, 237-239).
const (
	WE1 Rule = iota
	WE2
	WE3
	WE4
	N1
	N2
	N3
	N4
	N5
	N6
	N7
	N8
	ruleCount
)

var ruleNames = [ruleCount]string{"WE1", "WE2", "WE3", "WE4", "N1", "N2", "N3", "N4", "N5", "N6", "N7", "N8"}

var ruleMeanings = [ruleCount]string{
	"one point beyond 3 sigma",
	"two of three points beyond 2 sigma on one side",
	"four of five points beyond 1 sigma on one side",
	"eight points in a row on one side of the centre",
	"one point beyond 3 sigma",
	"nine points in a row on one side of the centre",
	"six points in a row rising or falling",
	"fourteen points in a row alternating up and down",
	"two of three points beyond 2 sigma on one side",
	"four of five points beyond 1 sigma on one side",
	"fifteen points in a row within 1 sigma of the centre",
	"eight points in a row beyond 1 sigma, on both sides",
}

// String is the short name: WE1 to WE4, N1 to N8.
func (r Rule) String() string {
	if r >= ruleCount {
		return fmt.Sprintf("rule %d", uint8(r))
	}
	return ruleNames[r]
}

// Meaning is the rule in words.
func (r Rule) Meaning() string {
	if r >= ruleCount {
		return r.String()
	}
	return ruleMeanings[r]
}

// RuleSet is any number of rules.
type RuleSet uint16

// The rules as published together.
const (
	WesternElectric = RuleSet(1<<WE1 | 1<<WE2 | 1<<WE3 | 1<<WE4)
	Nelson          = RuleSet(1<<N1 | 1<<N2 | 1<<N3 | 1<<N4 | 1<<N5 | 1<<N6 | 1<<N7 | 1<<N8)
)

// Has says whether the set holds a rule.
func (s RuleSet) Has(r Rule) bool { return s>>r&1 == 1 }

// Rules lists the rules of the set in order.
func (s RuleSet) Rules() []Rule {
	var rules []Rule
	for r := range ruleCount {
		if s.Has(r) {
			rules = append(rules, r)
		}
	}
	return rules
}

// ParseRules reads rules as people choose them: "western-electric", "nelson",
// "both", "none", or short names with commas between, "WE1,WE4,N3".
func ParseRules(text string) (RuleSet, error) {
	var set RuleSet
	for word := range strings.SplitSeq(text, ",") {
		switch word = strings.TrimSpace(word); strings.ToLower(word) {
		case "none":
		case "western-electric":
			set |= WesternElectric
		case "nelson":
			set |= Nelson
		case "both":
			set |= WesternElectric | Nelson
		default:
			one, ok := ruleByName(word)
			if !ok {
				return 0, fmt.Errorf("run rule %q: %w; choose western-electric, nelson, both, none, or of WE1 to WE4 and N1 to N8", word, ErrInput)
			}
			set |= one
		}
	}
	return set, nil
}

func ruleByName(word string) (RuleSet, bool) {
	for r, name := range ruleNames {
		if strings.EqualFold(name, word) {
			return 1 << r, true
		}
	}
	return 0, false
}

// grain is how near a limit a value still lies on it: rounding in the last digit
// of a float64 must not raise a signal, as (10.3 − 10)/0.1 > 3 would.
const grain = 1e-9

// Beyond says whether a distance lies strictly beyond a limit, which is not
// negative; an excess that may be rounding does not count.
func Beyond(z, limit float64) bool { return z > limit*(1+grain) }

// runs is what the rules remember of a series.
type runs struct {
	count     int
	last      float64
	side, row int // side of the centre and how many in a row on it
	trend     int // direction of the last step
	rising    int // points in a row in that direction
	zigzag    int // points in a row alternating
	calm      int // points in a row within 1 sigma
	wild      int // points in a row beyond 1 sigma
	sinceUp   int // points since the last one above, and below, the centre
	sinceDown int
	// beyond1 and beyond2 hold one bit a point, the newest lowest: above, below.
	beyond1, beyond2 [2]uint8
}

// rulesCompletedBy takes the next point and returns every rule that it completes. A
// pattern fires at the point that completes it, which must itself be part of it.
func (r *runs) rulesCompletedBy(z float64) RuleSet {
	r.followSteps(z)
	r.followZones(z)
	r.count++
	r.last = z
	var set RuleSet
	raise := func(when bool, rules RuleSet) {
		if when {
			set |= rules
		}
	}
	raise(Beyond(math.Abs(z), 3), 1<<WE1|1<<N1)
	raise(r.enoughBeyond(r.beyond2, 3, 2), 1<<WE2|1<<N5)
	raise(r.enoughBeyond(r.beyond1, 5, 4), 1<<WE3|1<<N6)
	raise(r.row >= 8, 1<<WE4)
	raise(r.row >= 9, 1<<N2)
	raise(r.rising >= 6, 1<<N3)
	raise(r.zigzag >= 14, 1<<N4)
	raise(r.calm >= 15, 1<<N7)
	raise(r.wild >= 8 && r.sinceUp < 8 && r.sinceDown < 8, 1<<N8)
	return set
}

// followSteps follows rises, falls and alternation. Equal neighbours break both.
func (r *runs) followSteps(z float64) {
	direction := 0
	if r.count > 0 {
		direction = sideOfCentre(z - r.last)
	}
	switch {
	case direction == 0:
		r.rising, r.zigzag = 1, 1
	case direction == r.trend:
		r.rising, r.zigzag = r.rising+1, 2
	case direction == -r.trend:
		r.rising, r.zigzag = 2, r.zigzag+1
	default: // the first step, or the first after equal neighbours
		r.rising, r.zigzag = 2, 2
	}
	r.trend = direction
}

// followZones follows sides and zones. A point on the centre line is on neither side.
func (r *runs) followZones(z float64) {
	side := sideOfCentre(z)
	if side == 0 || side != r.side {
		r.row = 0
	}
	if side != 0 {
		r.row++
	}
	r.side = side
	r.sinceUp, r.sinceDown = min(r.sinceUp+1, 8), min(r.sinceDown+1, 8)
	if r.count == 0 {
		r.sinceUp, r.sinceDown = 8, 8
	}
	switch side {
	case 1:
		r.sinceUp = 0
	case -1:
		r.sinceDown = 0
	}
	if math.Abs(z) < 1-grain {
		r.calm++
	} else {
		r.calm = 0
	}
	if Beyond(math.Abs(z), 1) {
		r.wild++
	} else {
		r.wild = 0
	}
	for i, up := range [2]float64{z, -z} {
		r.beyond1[i] = r.beyond1[i]<<1 | bitOf(Beyond(up, 1))
		r.beyond2[i] = r.beyond2[i]<<1 | bitOf(Beyond(up, 2))
	}
}

// enoughBeyond says whether the newest point and enough of the window before it are
// beyond, on either side.
func (r *runs) enoughBeyond(beyond [2]uint8, window, enough int) bool {
	for _, history := range beyond {
		seen := 0
		for i := range window {
			seen += int(history >> i & 1)
		}
		if history&1 == 1 && seen >= enough {
			return true
		}
	}
	return false
}

func sideOfCentre(v float64) int {
	switch {
	case v > grain:
		return 1
	case v < -grain:
		return -1
	}
	return 0
}

func bitOf(b bool) uint8 {
	if b {
		return 1
	}
	return 0
}
