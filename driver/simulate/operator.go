package simulate

import (
	"context"
	"errors"
	"time"
)

// ErrSetAside is what Operator.Recorded returns for a coil that had better be
// measured later, such as a warm one. The operator lays it in the room and
// comes back to it after a few others.
var ErrSetAside = errors.New("coil set aside")

const (
	// comeBackAfter is how many other coils are measured before one that was
	// set aside.
	comeBackAfter = 3
	// quickestHand is how long the clips stay open between two coils, however
	// fast the workshop runs.
	quickestHand = 1500 * time.Millisecond
	// aHand is what hands across the clips come to.
	aHand = 250e3
	// holdsOn and bites are how long those hands and a clip that bounces take.
	holdsOn = 2500 * time.Millisecond
	bites   = 400 * time.Millisecond
)

// OnClips is the coil an operator has just put on the clips.
type OnClips struct {
	Wound
	// Again is true for a coil that comes back from being set aside.
	Again bool
}

// Operator puts one coil after the other on the clips of a bench.
type Operator struct {
	Bench  *Bench
	Winder *Winder
	// Speed shortens pauses and the thermal time constants of coils; 1, and 0,
	// is as in life. Hands and clips are never faster than in life.
	Speed float64
	// Coils ends the work after so many; 0 goes on.
	Coils int
	// Recorded is called with each coil on the clips and returns when it may
	// come off: nil, or ErrSetAside; any other error ends the work. When nil,
	// each coil stays on for eight seconds.
	Recorded func(context.Context, OnClips) error
	// SpoolChanged is called before the first coil from a new spool is put on.
	// Its error ends the work.
	SpoolChanged func(ctx context.Context, spool string) error
}

// Run works until all coils are measured, ctx is done or a callback fails. A
// done ctx is no error. The clips are open when it returns.
func (o *Operator) Run(ctx context.Context) error {
	defer o.Bench.Detach()
	s := shift{Operator: o}
	for s.handled = 0; s.more(); s.handled++ {
		if err := s.measureNext(ctx); err != nil {
			if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
				return nil
			}
			return err
		}
	}
	return nil
}

// shift is one run of an operator.
type shift struct {
	*Operator
	wound, handled int
	aside          []lying // the longest first
}

// lying is a coil that was set aside.
type lying struct {
	wound Wound
	coil  Coil
	since time.Time
	due   int // how many must have been handled before its turn comes
}

func (s *shift) allWound() bool { return s.Coils > 0 && s.wound >= s.Coils }

func (s *shift) more() bool { return !s.allWound() || len(s.aside) > 0 }

func (s *shift) measureNext(ctx context.Context) error {
	var on OnClips
	var coil Coil
	var err error
	if len(s.aside) > 0 && (s.allWound() || s.aside[0].due <= s.handled) {
		on, coil, err = s.comeBack(ctx)
	} else {
		on, coil, err = s.wind(ctx)
	}
	if err != nil {
		return err
	}
	s.clip(on, coil)
	err = s.Recorded(ctx, on)
	off := s.Bench.Detach()
	if errors.Is(err, ErrSetAside) {
		s.aside = append(s.aside, lying{wound: on.Wound, coil: off, since: s.Bench.now(), due: s.handled + 1 + comeBackAfter})
		return nil
	}
	return err
}

// comeBack takes up the coil that was set aside first.
func (s *shift) comeBack(ctx context.Context) (OnClips, Coil, error) {
	next := s.aside[0]
	s.aside = s.aside[1:]
	if err := Pause(ctx, s.hand(next.wound.Pause)); err != nil {
		return OnClips{}, Coil{}, err
	}
	return OnClips{Wound: next.wound, Again: true}, s.Bench.Lie(next.coil, next.since), nil
}

// wind makes a new coil.
func (s *shift) wind(ctx context.Context) (OnClips, Coil, error) {
	wound := s.Winder.Next()
	s.wound++
	if wound.NewSpool {
		if err := s.SpoolChanged(ctx, wound.Spool); err != nil {
			return OnClips{}, Coil{}, err
		}
	}
	if err := Pause(ctx, s.hand(wound.Pause)); err != nil {
		return OnClips{}, Coil{}, err
	}
	coil := CopperCoil(wound.R20Ohms, s.Bench.RoomCelsius()+wound.AboveRoomKelvin)
	coil.TimeConstant = s.sooner(coil.TimeConstant)
	return OnClips{Wound: wound}, coil, nil
}

// clip puts a coil on the clips, with what happens to it the first time.
func (s *shift) clip(on OnClips, coil Coil) {
	s.Bench.Attach(coil)
	switch {
	case on.Again:
	case on.Happening == Fingered:
		s.Bench.Fingers(aHand, holdsOn)
	case on.Happening == Bounced:
		s.Bench.Bounce(bites)
	}
}

// sooner is a duration at the speed of the workshop.
func (o *Operator) sooner(d time.Duration) time.Duration {
	if o.Speed <= 0 {
		return d
	}
	return time.Duration(float64(d) / o.Speed)
}

// hand is a duration at the speed of the workshop, as far as hands can go.
func (o *Operator) hand(d time.Duration) time.Duration { return max(quickestHand, o.sooner(d)) }
