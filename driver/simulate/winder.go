package simulate

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// Happening is what is out of the ordinary about a coil or its measurement; empty
// when nothing is.
type Happening string

const (
	// ShortOfTurns: the counter slipped, the coil is far below tolerance.
	ShortOfTurns Happening = "short of turns"
	// Warm: fresh from potting, 8 K above the room.
	Warm Happening = "warm"
	// Fingered: the operator holds the clips with both hands at first.
	Fingered Happening = "fingers on the clips"
	// Bounced: a clip does not bite at once.
	Bounced Happening = "clip bounces"
)

// The story of a batch, over and over: at which of every storyLength coils,
// counted from 1, something happens.
const storyLength = 20

var story = map[int]Happening{3: Fingered, 5: Warm, 7: Bounced, 9: ShortOfTurns}

// newSpoolAt is the coil of a story that is the first from a new spool.
const newSpoolAt = 11

// spoolRatios is what the wire of one spool after the other does to the
// resistance: well within a wire standard's tolerance, and plain to see in a
// batch.
var spoolRatios = []float64{0, 0.012, -0.004, 0.007}

const (
	// scatterRatio is the standard deviation of coils wound alike, and
	// scatterLimit how many of them a coil is off at the most, so that only a
	// coil that is meant to be is out of tolerance.
	scatterRatio = 0.004
	scatterLimit = 2.5
	// shortRatio is what a coil short of turns lacks.
	shortRatio = 0.09
	warmKelvin = 8.0
	// handlingKelvin is the standard deviation of how warm hands leave a coil.
	handlingKelvin = 0.15
)

// Wound is a coil as it leaves the winder.
type Wound struct {
	// Sequence counts the coils of the winder from 1.
	Sequence int
	R20Ohms  float64
	// AboveRoomKelvin is how much warmer than the room it is.
	AboveRoomKelvin float64
	Spool           string
	// NewSpool is true for the first coil from a spool, but not for the first
	// coil of all.
	NewSpool  bool
	Happening Happening
	// Pause is how long after the coil before it this one is at hand.
	Pause time.Duration
}

// Winder makes coils of one design, scattered as a careful hand scatters
// them. Equal seeds make equal coils.
type Winder struct {
	design   Design
	random   *rand.Rand
	sequence int
	spool    int
}

// NewWinder returns a winder that begins a batch on a new spool.
func NewWinder(d Design, seed uint64) *Winder {
	return &Winder{design: d, random: rand.New(rand.NewPCG(seed, 4))}
}

// Next winds a coil.
func (w *Winder) Next() Wound {
	w.sequence++
	place := (w.sequence-1)%storyLength + 1
	newSpool := place == newSpoolAt
	if newSpool {
		w.spool++
	}
	scatter := max(-scatterLimit, min(scatterLimit, w.random.NormFloat64()))
	ratio := (1 + scatterRatio*scatter) * (1 + spoolRatios[w.spool%len(spoolRatios)])
	c := Wound{
		Sequence:        w.sequence,
		R20Ohms:         w.design.TargetOhms * ratio,
		AboveRoomKelvin: handlingKelvin * w.random.NormFloat64(),
		Spool:           fmt.Sprintf("HL-%d", 117+w.spool),
		NewSpool:        newSpool,
		Happening:       story[place],
		Pause:           6*time.Second + time.Duration(w.random.Int64N(int64(6*time.Second))),
	}
	switch c.Happening {
	case ShortOfTurns:
		c.R20Ohms *= 1 - shortRatio
	case Warm:
		c.AboveRoomKelvin = warmKelvin
	}
	return c
}
