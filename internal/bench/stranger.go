package bench

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// A meter that comes back under another name, or none, may be another meter: its
// leads and its calibration are then not those in use. Nothing is recorded until
// somebody has said that it is to be used. Known is the name that was used last.

// meet notes what an instrument says it is, now that it was opened. What is
// opened first is taken as known, also without a name.
func (s *instrumentState) meet(identity string, first bool) {
	s.Identity = identity
	if first {
		s.known = identity
	}
	s.stranger = s.Role == record.Meter && s.known != identity
}

// strange asks whether the meter is to be used; empty when it is the one known.
func (s *instrumentState) strange() string {
	if !s.stranger {
		return ""
	}
	now := "now the one at " + s.Port + " does not say what it is"
	if s.Identity != "" {
		now = fmt.Sprintf("now %q answers", record.Label(s.Identity))
	}
	was := "the meter did not say what it was"
	if s.known != "" {
		was = fmt.Sprintf("the meter was %q", record.Label(s.known))
	}
	return fmt.Sprintf("%s, and %s: switch it off and on if it is the same; if it is another, "+
		"measure its leads, or press Record to use it as it is", was, now)
}

// useStranger takes the meter that answers into use.
func (b *station) useStranger(who string) {
	b.note(record.JournalEntry{Action: "meter changed", Subject: b.meter.Label(), Who: who,
		Detail: fmt.Sprintf("in the place of %q", record.Label(b.meter.known))})
	b.meter.known, b.meter.stranger = b.meter.Identity, false
	b.configure()
}

// useMeasured takes the meter into use whose leads were just measured, and have
// been taken up, unless another has come in its place meanwhile.
func (b *Bench) useMeasured(ctx context.Context, meter, who string) error {
	return b.do(ctx, func(b *station) error {
		if b.meter.stranger && b.meter.Label() == meter {
			b.useStranger(who)
		}
		return nil
	})
}
