package drivertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing/synctest"
	"time"

	"coilkeep/driver"
)

var cases = []contractCase{
	{
		name:     "reads values",
		sentence: "Read asks for one reading, or waits for the next one of a free-running talker.",
		run:      readsValues,
	},
	{
		name:     "slow answers",
		sentence: "Time is when the last byte of the answer arrived.",
		run:      readsSlowAnswers,
	},
	{
		name:     "open leads",
		sentence: "Overload marks an instrument that says its input is out of its range",
		needs: func(_ driver.Driver, peer Peer) string {
			if peer.Overload == nil {
				return "the peer has no overload"
			}
			return ""
		},
		run: readsOverload,
	},
	{
		name:     "silence",
		sentence: "ErrSilent means no answer came within the time-out.",
		needs:    aLine, // a person may take any time
		run:      endsInSilence,
	},
	{
		name:     "late answer",
		sentence: "the instrument has been left in a state where the next answer belongs to the next question.",
		needs:    aQuestion,
		run:      func(r *rig) error { return forgetsLateAnswer(r, timeout) },
	},
	{
		name:     "late answer after the next question",
		sentence: "the instrument has been left in a state where the next answer belongs to the next question.",
		needs:    aQuestion,
		run:      func(r *rig) error { return forgetsLateAnswer(r, 0) },
	},
	{
		name:     "half an answer",
		sentence: "Unreadable marks bytes that are not a whole answer",
		needs:    aLine,
		run:      refusesHalves,
	},
	{
		name:     "endless noise",
		sentence: "It returns within the time-out of the settings, or when ctx is done, or when the connection is closed.",
		needs:    aLine,
		run:      endsInNoise,
	},
	{
		name:     "cancelled",
		sentence: "The error is nil, or wraps one of the errors above, or is ctx.Err().",
		run:      endsWhenCancelled,
	},
	{
		name:     "line lost during a read",
		sentence: "ErrLineLost means the connection is gone or can no longer be trusted.",
		needs:    aLine,
		run:      noticesLostLine,
	},
	{
		name:     "line lost before a read",
		sentence: "ErrLineLost means the connection is gone or can no longer be trusted.",
		needs:    aLine,
		run:      reportsLostLine,
	},
	{
		name:     "closed during a read",
		sentence: "Close closes the connection and ends a Read under way. It may be called more than once.",
		run:      endsWhenClosed,
	},
	{
		name:     "opened on a silent or lost line",
		sentence: "It does not close conn when it fails.",
		needs:    aLine,
		run:      opensInVain,
	},
	{
		name:     "identity",
		sentence: "Identifier is an instrument that can say what it is.",
		run:      identifies,
	},
	{
		name:     "shared line",
		sentence: "A driver with SharesPort holds the lock over one whole exchange, question and answer.",
		needs: func(d driver.Driver, _ Peer) string {
			if !d.SharesPort {
				return "the driver does not share ports"
			}
			return ""
		},
		run: unlocks,
	},
}

func aLine(d driver.Driver, _ Peer) string {
	if d.NoPort {
		return "the driver has no port"
	}
	return ""
}

func aQuestion(_ driver.Driver, peer Peer) string {
	if peer.Respond == nil {
		return "the instrument is not asked"
	}
	return ""
}

func readsValues(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	for range 20 {
		reading, err := r.readAny(r.ctx)
		if err != nil || reading.Status != driver.OK {
			return fmt.Errorf("read in the midst of good answers = %+v, %w", reading, err)
		}
	}
	return nil
}

func readsSlowAnswers(r *rig) error {
	if err := r.open(); err != nil {
		return err
	}
	r.behave(func(answer []byte) ([]byte, time.Duration) { return answer, timeout * 6 / 10 })
	for range 5 {
		if _, err := r.readGood(); err != nil {
			return err
		}
	}
	return nil
}

func readsOverload(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.behave(func([]byte) ([]byte, time.Duration) { return r.peer.Overload, delay })
	for range 6 {
		reading, err := r.readAny(r.ctx)
		if err != nil || reading.Status == driver.OK {
			return fmt.Errorf("read of %q = %+v, %w; want overload", r.peer.Overload, reading, err)
		}
		if reading.Status == driver.Overload {
			r.behave(healthy)
			_, err := r.readGood()
			return err
		}
	}
	return fmt.Errorf("reads of %q never gave overload", r.peer.Overload)
}

func endsInSilence(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.silence()
	for range 3 {
		start := time.Now()
		reading, err := r.readAny(r.ctx)
		if !errors.Is(err, driver.ErrSilent) {
			return fmt.Errorf("read of a silent instrument = %+v, %v after %v; want %w", reading, err, time.Since(start), driver.ErrSilent)
		}
	}
	r.behave(healthy)
	_, err := r.readGood()
	return err
}

// forgetsLateAnswer has one answer come after the time-out, with a pause or
// none before the next question.
func forgetsLateAnswer(r *rig, pause time.Duration) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.behave(func(answer []byte) ([]byte, time.Duration) { return answer, timeout * 13 / 10 })
	reading, err := r.readAny(r.ctx)
	if !errors.Is(err, driver.ErrSilent) {
		return fmt.Errorf("read of an answer that comes too late = %+v, %v; want %w", reading, err, driver.ErrSilent)
	}
	r.behave(healthy)
	r.pause(pause)
	for range 3 {
		if _, err := r.readGood(); err != nil {
			return fmt.Errorf("after an answer that came too late: %w", err)
		}
	}
	return nil
}

func refusesHalves(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	// Without its last byte an answer may be whole: a CR of CR LF is a line end.
	for length := 1; length < len(r.peer.Answer(r.value(0)))-1; length++ {
		if err := r.refusesCut(length); err != nil {
			return fmt.Errorf("an answer cut after %d bytes: %w", length, err)
		}
	}
	return nil
}

// refusesCut has one answer cut, then silence, then good answers again.
func (r *rig) refusesCut(length int) error {
	var cut atomic.Int64 // the number of the value that is cut, from 1
	r.behave(func(answer []byte) ([]byte, time.Duration) {
		if cut.CompareAndSwap(0, int64(r.asked())) {
			return answer[:length], delay
		}
		return nil, 0
	})
	for {
		reading, err := r.readAny(r.ctx)
		if err != nil && !errors.Is(err, driver.ErrSilent) {
			return err
		}
		if err != nil || reading.Status != driver.OK {
			break
		}
		// An instrument that talks unasked may have said more before.
		if int64(r.lastRead()) == cut.Load() {
			return fmt.Errorf("read = %+v, want no value", reading)
		}
	}
	r.behave(healthy)
	_, err := r.readGood()
	return err
}

func endsInNoise(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.silence()
	noise := bytes.Repeat([]byte{0x00, 0xFF, 'x', 0x80, ' '}, 200)
	stop := make(chan struct{})
	r.peers.Go(func() {
		for r.pause(10 * time.Millisecond) {
			select {
			case <-stop:
				return
			default:
				r.far.Write(noise)
			}
		}
	})
	for range 5 {
		reading, err := r.readAny(r.ctx)
		if err == nil && reading.Status == driver.OK || err != nil && !errors.Is(err, driver.ErrSilent) {
			return fmt.Errorf("read in noise = %+v, %w; want no value", reading, err)
		}
	}
	close(stop)
	r.behave(healthy)
	_, err := r.readGood()
	return err
}

func endsWhenCancelled(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(r.ctx)
	cancel()
	if reading, err := r.readAny(ctx); !errors.Is(err, context.Canceled) {
		return fmt.Errorf("read with a context that is done = %+v, %v; want %w", reading, err, context.Canceled)
	}
	r.silence()
	ctx, cancel = context.WithCancel(r.ctx)
	defer cancel()
	err := r.interrupt(ctx, cancel)
	if !errors.Is(err, context.Canceled) {
		return fmt.Errorf("read whose context ends = %v; want %w", err, context.Canceled)
	}
	r.behave(healthy)
	_, err = r.readGood()
	return err
}

// interrupt does something in the middle of a Read that waits, and returns the
// Read's error, which must come at once.
func (r *rig) interrupt(ctx context.Context, do func()) error {
	done := make(chan error, 1)
	go func() {
		reading, err := r.instrument.Read(ctx)
		if err == nil {
			err = fmt.Errorf("no error, but %+v", reading)
		}
		done <- err
	}()
	r.pause(timeout / 4)
	do()
	start := time.Now()
	giveUp := time.AfterFunc(never, r.hangUp)
	err := <-done
	giveUp.Stop()
	if took := time.Since(start); took > slack {
		return fmt.Errorf("nothing for %v, then %v", took, err)
	}
	return err
}

func noticesLostLine(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.silence()
	if err := r.interrupt(r.ctx, func() { r.far.Close() }); !errors.Is(err, driver.ErrLineLost) {
		return fmt.Errorf("read whose line is lost = %v; want %w", err, driver.ErrLineLost)
	}
	return nil
}

func reportsLostLine(r *rig) error {
	if err := r.openAndRead(); err != nil {
		return err
	}
	r.silence()
	r.far.Close()
	for range 2 {
		if reading, err := r.readAny(r.ctx); !errors.Is(err, driver.ErrLineLost) {
			return fmt.Errorf("read after the line was lost = %+v, %v; want %w", reading, err, driver.ErrLineLost)
		}
	}
	return nil
}

func endsWhenClosed(r *rig) error {
	if err := r.open(); err != nil {
		return err
	}
	r.silence()
	var closeErr error
	err := r.interrupt(r.ctx, func() { closeErr = r.instrument.Close() })
	if closeErr != nil || !errors.Is(err, driver.ErrLineLost) {
		return fmt.Errorf("close = %v, and the Read under way = %v; want nil and %w", closeErr, err, driver.ErrLineLost)
	}
	if err := r.instrument.Close(); err != nil {
		return fmt.Errorf("second Close = %w", err)
	}
	if !r.driver.NoPort && !r.near.isClosed() {
		return errors.New("close left the connection open")
	}
	if reading, err := r.readAny(r.ctx); err == nil {
		return fmt.Errorf("read after Close = %+v, want an error", reading)
	}
	return nil
}

// opensInVain opens on a line whose instrument is silent, and then on one that
// is lost. A driver that notices neither is in order, its first Read tells.
func opensInVain(r *rig) error {
	start := time.Now()
	i, err := r.tryOpen(r.ctx)
	if took := time.Since(start); took > never {
		return fmt.Errorf("open with a silent instrument took %v with a time-out of %v", took, timeout)
	}
	if err != nil && r.near.isClosed() {
		return fmt.Errorf("open with a silent instrument = %w, and closed the connection", err)
	}
	if err == nil {
		return i.Close()
	}
	r.far.Close()
	if i, err = r.tryOpen(r.ctx); err == nil {
		return i.Close()
	}
	if r.near.isClosed() || !errors.Is(err, driver.ErrLineLost) {
		return fmt.Errorf("open on a lost line = %v and closed it: %t; want %w and false", err, r.near.isClosed(), driver.ErrLineLost)
	}
	return nil
}

func identifies(r *rig) error {
	if err := r.open(); err != nil {
		return err
	}
	identifier, ok := r.instrument.(driver.Identifier)
	if !ok {
		return nil
	}
	if identity, err := identifier.Identify(r.ctx); err == nil && identity.Raw == "" {
		return fmt.Errorf("identify = %+v without the raw answer", identity)
	}
	_, err := r.readGood()
	return err
}

func unlocks(r *rig) error {
	if err := r.open(); err != nil {
		return err
	}
	shared, ok := r.conn.(*sharedNear)
	if !ok {
		return errors.New("the suite lost its shared line") // cannot be: see newRig
	}
	if _, err := r.readGood(); err != nil {
		return err
	}
	r.silence()
	for range 2 {
		if shared.locked() {
			return errors.New("the lock was kept after Read")
		}
		if reading, err := r.readAny(r.ctx); !errors.Is(err, driver.ErrSilent) {
			return fmt.Errorf("read of a silent instrument = %+v, %v; want %w", reading, err, driver.ErrSilent)
		}
	}
	// Another user in the middle of an exchange is waited for.
	r.behave(healthy)
	shared.Lock()
	asked := r.asked()
	done := make(chan error, 1)
	go func() {
		_, err := r.instrument.Read(r.ctx)
		done <- err
	}()
	synctest.Wait()
	if r.asked() != asked {
		return errors.New("a question was sent while another user held the lock")
	}
	shared.Unlock()
	if err := <-done; err != nil {
		return fmt.Errorf("read after another user's exchange = %w", err)
	}
	return nil
}
