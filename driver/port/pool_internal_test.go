package port

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

// A port that is being closed is waited for, as long as the context allows.
func TestPoolWaitsForAPortThatIsBeingClosed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const place = "/dev/ttyUSB0"
		closing := &line{ending: true, gone: make(chan struct{})}
		pool := &Pool{lines: map[string]*line{place: closing}}

		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, _, err := pool.join(ctx, target{place: place}, Use{User: "meter"}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("join while the port is being closed = %v, want %v", err, context.DeadlineExceeded)
		}

		time.AfterFunc(time.Second, func() {
			pool.mu.Lock()
			delete(pool.lines, place)
			pool.mu.Unlock()
			close(closing.gone)
		})
		l, first, err := pool.join(t.Context(), target{place: place}, Use{User: "meter"})
		if l == nil || !first || err != nil {
			t.Errorf("join after the port was closed = %v, first %t, %v; want a new line", l, first, err)
		}
	})
}

// An instrument that asks again at once must not come before one that waits.
func TestPoolServesUsersInTurn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &line{exchange: make(chan struct{}, 1)}
		quick, patient := sharedHandle{&handle{line: l}}, sharedHandle{&handle{line: l}}
		order := make(chan string, 2)
		quick.Lock()
		go func() {
			patient.Lock()
			order <- "patient"
			patient.Unlock()
		}()
		synctest.Wait()
		quick.Unlock()
		quick.Lock()
		order <- "quick"
		quick.Unlock()
		if first := <-order; first != "patient" {
			t.Errorf("the line went to the %s one first", first)
		}
	})
}
