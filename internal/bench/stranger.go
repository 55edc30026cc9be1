package bench

import (
	"context"
	"fmt"

	"coilkeep/internal/history"
)

// A meter that comes back under another name, or none, may be another meter: its
// leads and its calibration are then not those in use. Nothing is recorded until
// somebody has said that it is to be used. Known is the name that was used last.

// meet notes what an instrument says it is, now that it was opened.
func (s *instrumentState) meet(identity string) {
	s.Identity = identity
	if s.known == "" {
		s.known = identity
	}
	s.stranger = s.Role == history.Meter && s.known != identity
}

// strange asks whether the meter is to be used; empty when it is the one known.
func (b *Bench) strange() string {
	if !b.meter.stranger {
		return ""
	}
	now := "now the one at " + b.meter.Port + " does not say what it is"
	if b.meter.Identity != "" {
		now = fmt.Sprintf("now %q answers", history.Label(b.meter.Identity))
	}
	return fmt.Sprintf("the meter was %q, and %s: switch it off and on if it is the same; if it is another, "+
		"measure its leads, or press Record to use it as it is", history.Label(b.meter.known), now)
}

// useStranger takes the meter that answers into use.
func (b *Bench) useStranger(who string) {
	b.note(history.JournalEntry{Action: "meter changed", Subject: b.meter.Label(), Who: who,
		Detail: fmt.Sprintf("in the place of %q", history.Label(b.meter.known))})
	b.meter.known, b.meter.stranger = b.meter.Identity, false
	b.configure()
}

// useMeasured takes the meter into use whose leads were just measured.
func (b *Bench) useMeasured(ctx context.Context, who string) error {
	return b.do(ctx, func() error {
		if b.meter.stranger {
			b.useStranger(who)
		}
		return nil
	})
}
