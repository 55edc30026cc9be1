package bench

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"time"

	"github.com/cenkalti/backoff/v5"

	"coilkeep/driver"
	"coilkeep/internal/record"
)

// notice is what a supervisor tells the bench.
type notice struct {
	role record.Role
	// reading is set for a reading; otherwise the instrument's health changed.
	reading *driver.Reading
	// opened is true when the instrument has just been opened, and identity is
	// then what it said of itself.
	opened     bool
	instrument driver.Instrument
	identity   string
	// fault says what is wrong; lost is true when the connection is gone too.
	fault string
	lost  bool
	// dropped is how many bytes belonged to no answer since the last notice of
	// them; nothing else is told with it.
	dropped int64
}

// supervisor keeps one instrument open and reads it.
type supervisor struct {
	role     record.Role
	settings InstrumentSettings
	log      *slog.Logger
	tell     func(ctx context.Context, n notice)
}

const (
	firstPause = 250 * time.Millisecond
	// longestPause keeps the promise that an instrument that is plugged in
	// again is used again within seconds.
	longestPause = 3 * time.Second
	// silences in a row after which the connection is opened anew: an adapter
	// can vanish without an error.
	silences = 2
	// identifyWithin bounds the question who the instrument is; many cannot
	// answer.
	identifyWithin = 2 * time.Second
)

// run opens and reads until ctx ends. What goes wrong is told, never returned:
// one instrument must not stop a bench.
func (s *supervisor) run(ctx context.Context) {
	pause := backoff.NewExponentialBackOff()
	pause.InitialInterval, pause.MaxInterval = firstPause, longestPause
	for ctx.Err() == nil {
		readings, err := s.session(ctx)
		if ctx.Err() != nil {
			return
		}
		s.tell(ctx, notice{role: s.role, fault: s.settings.Explain(err), lost: true})
		if readings > 0 {
			pause.Reset()
		}
		wait := pause.NextBackOff()
		if errors.Is(err, driver.ErrSettings) {
			wait = longestPause
		}
		sleep(ctx, wait)
	}
}

// session opens the instrument and reads it until it is lost. It returns how
// many good readings it got.
func (s *supervisor) session(ctx context.Context) (readings int, err error) {
	instrument, err := s.settings.Open(ctx)
	if err != nil {
		return 0, err
	}
	// A read knows no context; closing the instrument ends it.
	stop := context.AfterFunc(ctx, func() { instrument.Close() })
	defer func() {
		stop()
		err = errors.Join(err, instrument.Close())
	}()
	s.tell(ctx, notice{role: s.role, opened: true, instrument: instrument,
		identity: s.identify(ctx, instrument)})

	free, ok := instrument.(driver.FreeRunner)
	paced := !ok || !free.FreeRunning()
	silent, dropped := 0, int64(0)
	for ctx.Err() == nil {
		asked := time.Now()
		r, err := instrument.Read(ctx)
		dropped = s.tellDropped(ctx, instrument, dropped)
		switch {
		case err == nil:
			silent = 0
			readings++
			s.deliver(ctx, r)
		case errors.Is(err, driver.ErrSilent):
			silent++
			if silent >= silences {
				return readings, err
			}
			s.tell(ctx, notice{role: s.role, fault: s.settings.Explain(err)})
		default:
			return readings, err
		}
		if paced && !s.settings.Typed {
			sleep(ctx, s.settings.Poll-time.Since(asked))
		}
	}
	return readings, ctx.Err()
}

// tellDropped tells how many more bytes than before the instrument threw away,
// and returns how many they are now.
func (s *supervisor) tellDropped(ctx context.Context, instrument driver.Instrument, before int64) int64 {
	dropper, ok := instrument.(driver.Dropper)
	if !ok {
		return before
	}
	now := dropper.Dropped()
	if now > before {
		s.tell(ctx, notice{role: s.role, dropped: now - before})
	}
	return now
}

// deliver hands a reading on, converted where the probe shows its sensor.
func (s *supervisor) deliver(ctx context.Context, r driver.Reading) {
	r = s.settings.Converted(r)
	s.tell(ctx, notice{role: s.role, reading: &r})
}

// Converted returns a reading in the unit the bench works in: degrees for a
// probe that shows the resistance of its sensor. One that cannot be converted
// is impossible, with the reason. Its resolution is never finer than that of
// the instrument's display.
func (s InstrumentSettings) Converted(r driver.Reading) driver.Reading {
	r.Resolution = max(r.Resolution, s.ResolutionOhms)
	if s.Convert == nil || r.Status != driver.OK {
		return r
	}
	celsius, step, err := s.Convert(r.Value, r.Resolution)
	if err != nil {
		r.Status, r.Reason, r.Value = driver.Impossible, err.Error(), 0
		return r
	}
	r.Value, r.Resolution = celsius, step
	return r
}

// identify asks the instrument who it is, when it can say.
func (s *supervisor) identify(ctx context.Context, instrument driver.Instrument) string {
	who, ok := instrument.(driver.Identifier)
	if !ok {
		return ""
	}
	ctx, cancel := context.WithTimeout(ctx, identifyWithin)
	defer cancel()
	identity, err := who.Identify(ctx)
	if err != nil {
		s.log.Debug("instrument does not say what it is", "role", s.role, "err", err)
		return ""
	}
	return identity.Raw
}

// Explain says in words for people what an error of Open or Read means and
// what to try.
func (s InstrumentSettings) Explain(err error) string {
	switch {
	case err == nil:
		return "closed"
	case errors.Is(err, driver.ErrSilent):
		return fmt.Sprintf("silent for %v (%v): is it switched on, the cable in, and are baud, frame and line ends right? "+
			"A slow one needs a longer timeout", s.Timeout, err)
	case errors.Is(err, driver.ErrLineLost):
		return fmt.Sprintf("%v: is it plugged in and switched on?", err)
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Sprintf("unplugged: %v", err)
	default:
		return err.Error()
	}
}

// sleep waits, or returns early when ctx ends.
func sleep(ctx context.Context, d time.Duration) {
	if d <= 0 {
		return
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
