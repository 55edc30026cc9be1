package lines

import (
	"regexp"
	"strings"
)

// How often a new shape must be seen, among how many lines, to be believed.
const (
	sightings = 3
	recent    = 32
	// mostShapes bounds the memory; a talker has a handful.
	mostShapes = 64
)

// Shapes remembers what good lines of one connection look like, to tell a line
// that lost some of its bytes (R=+66 of R=+6690) or ran into its neighbour:
// such a line may still read as a number.
//
// The shape of a line is the line with every digit as 0 and every sign as +.
// The first good line is believed. A line of another shape is not, until it is
// the third of that shape among the last 32 lines: an instrument whose numbers
// change their length pays two readings for each new length, once. What this
// cannot see is a cut line that looks like another usual line.
//
// The zero Shapes is ready to use. It is meant for lines that read as a value.
type Shapes struct {
	// Answers is true when each line answers a question of its own. Bytes of
	// such a line may be missing, but two of them do not run together: so one
	// that differs from the longest usual line only in its runs of digits, and
	// is as long or one character longer, is whole. 12074.0 behind 6690.0 is
	// believed at once, 66 and 669.0 are not.
	Answers bool

	known  map[string]bool
	latest []string // unknown shapes and "" for known ones, oldest first
}

// Known reports whether a line of this shape is to be believed, and remembers
// that it was seen.
func (s *Shapes) Known(line string) bool {
	shape := shapeOf(line)
	if s.known == nil {
		s.known = map[string]bool{shape: true}
	}
	if s.known[shape] {
		s.remember("")
		return true
	}
	if s.Answers && s.whole(shape) {
		s.remember("")
		s.learn(shape)
		return true
	}
	s.remember(shape)
	seen := 0
	for _, other := range s.latest {
		if other == shape {
			seen++
		}
	}
	if seen < sightings {
		return false
	}
	s.learn(shape)
	return true
}

func (s *Shapes) learn(shape string) {
	if len(s.known) == mostShapes {
		clear(s.known)
	}
	s.known[shape] = true
}

var digitRun = regexp.MustCompile(`0+`)

// whole reports whether nothing can be missing from a line of this shape, by
// its length and the usual lines that are like it but for the number of digits.
func (s *Shapes) whole(shape string) bool {
	longest := 0
	alike := digitRun.ReplaceAllString(shape, "0")
	for known := range s.known {
		if digitRun.ReplaceAllString(known, "0") == alike {
			longest = max(longest, len(known))
		}
	}
	return longest > 0 && len(shape) >= longest && len(shape) <= longest+1
}

func (s *Shapes) remember(shape string) {
	if len(s.latest) == recent {
		s.latest = append(s.latest[:0], s.latest[1:]...)
	}
	s.latest = append(s.latest, shape)
}

func shapeOf(line string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= '0' && r <= '9':
			return '0'
		case r == '-':
			return '+'
		}
		return r
	}, line)
}
