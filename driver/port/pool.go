package port

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"coilkeep/driver"
)

// MaxConnections is the most connections a [Pool] opens at once: far more than
// a workshop has instruments, far fewer than the descriptors a system grants,
// so that a fault which opens without closing stops here.
const MaxConnections = 64

// Use says who opens a port of a [Pool].
type Use struct {
	// User is how a person knows the user, for example "bench north, meter";
	// it is named when somebody else wants the same port.
	User string
	// Shared lets others with Shared use the same port with the same line
	// settings, an exchange at a time.
	Shared bool
}

// Pool opens the ports of one program and knows who uses which. The zero value
// is ready. Its methods may be called from any goroutine; opening one port
// never waits for another.
type Pool struct {
	mu    sync.Mutex
	lines map[string]*line // by place
}

// Open opens a port for one user, or joins those who share it already. A
// connection with Use.Shared implements driver.Locker; when any of its users
// finds the line lost, all do, and the next Open opens the port anew. Two
// names of one device count as the same port.
//
// Errors are those of the function [Open]. A port that somebody else of this
// program uses gives ErrBusy and names the user; two shared users with
// different line settings get driver.ErrSettings.
func (p *Pool) Open(ctx context.Context, s Settings, use Use) (driver.Conn, error) {
	t, err := resolve(s)
	if err != nil {
		return nil, err
	}
	for {
		l, first, err := p.join(ctx, t, use)
		if err != nil {
			return nil, fmt.Errorf("open port %s: %w", s.Address, err)
		}
		err = l.opened(ctx, first)
		if err == nil {
			return newHandle(l, use, s.Timeout), nil
		}
		if err = errors.Join(err, l.leave(use)); first || ctx.Err() != nil || !givenUp(err) {
			return nil, err
		}
		// Whoever was opening the port gave up, but this user has not.
	}
}

func givenUp(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}

// join makes use a user of the line to t; first is true when the line is new
// and this user has to open it. It waits while an earlier line to the same
// place is being closed.
func (p *Pool) join(ctx context.Context, t target, use Use) (l *line, first bool, err error) {
	for {
		l, first, err := p.tryJoin(t, use)
		if err != nil || l != nil {
			return l, first, err
		}
		if err := p.waitGone(ctx, t.place); err != nil {
			return nil, false, err
		}
	}
}

// tryJoin is join that returns nil when an earlier line is being closed.
func (p *Pool) tryJoin(t target, use Use) (l *line, first bool, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if l := p.lines[t.place]; l != nil {
		if l.ending {
			return nil, false, nil
		}
		if err := l.admits(t, use); err != nil {
			return nil, false, err
		}
		l.users = append(l.users, use)
		return l, false, nil
	}
	if len(p.lines) >= MaxConnections {
		return nil, false, fmt.Errorf("%w: %d are open already", ErrTooMany, len(p.lines))
	}
	if p.lines == nil {
		p.lines = map[string]*line{}
	}
	l = &line{pool: p, target: t, users: []Use{use},
		exchange: make(chan struct{}, 1), ready: make(chan struct{}), gone: make(chan struct{})}
	p.lines[t.place] = l
	return l, true, nil
}

// waitGone waits until the line to place, if there is one, is closed.
func (p *Pool) waitGone(ctx context.Context, place string) error {
	p.mu.Lock()
	l := p.lines[place]
	p.mu.Unlock()
	if l == nil {
		return nil
	}
	select {
	case <-l.gone:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// line is one port of a pool, from the first wish to open it until it is
// closed, and those who use it.
type line struct {
	pool   *Pool
	target target

	// ready is closed when opening has ended; conn and err are set before.
	ready chan struct{}
	conn  *conn
	err   error

	// exchange holds one token while a user asks one question and waits for its
	// answer. A channel serves those who wait in turn; a mutex would let an
	// instrument that does not answer take the line twice running.
	exchange chan struct{}

	// Under pool.mu: who uses the line, and whether it is being closed.
	users  []Use
	ending bool
	// gone is closed when the port is closed and the pool has forgotten it.
	gone chan struct{}
}

// opened opens the line when this user is the first, and otherwise waits until
// the first has.
func (l *line) opened(ctx context.Context, first bool) error {
	if first {
		l.conn, l.err = l.target.open(ctx)
		close(l.ready)
		return l.err
	}
	select {
	case <-l.ready:
		return l.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// admits says why a further user cannot have the line; pool.mu is held.
func (l *line) admits(t target, use Use) error {
	names := make([]string, len(l.users))
	for i, u := range l.users {
		names[i] = u.User
	}
	others := strings.Join(names, " and ")
	if !use.Shared || !l.users[0].Shared {
		return fmt.Errorf("%w by %s: instruments can have the same port only when the drivers of all of them share it", ErrBusy, others)
	}
	if !t.tcp && (t.baud() != l.target.baud() || t.frame != l.target.frame) {
		return settingsError("%s wants %d baud %s, but %s uses the same port with %d baud %s: make them equal",
			use.User, t.baud(), t.frame, others, l.target.baud(), l.target.frame)
	}
	return nil
}

// leave ends one use; the last user closes the port.
func (l *line) leave(use Use) error {
	return l.endIf(func() bool {
		if i := slices.Index(l.users, use); i >= 0 {
			l.users = slices.Delete(l.users, i, i+1)
		}
		return len(l.users) == 0
	})
}

// shut closes the port for all its users.
func (l *line) shut() error { return l.endIf(func() bool { return true }) }

// endIf closes the port if the condition, asked under pool.mu, holds. From then
// on nobody joins the line, and the pool forgets it only when the port is
// closed, so that whoever opens it next does not find it busy. All callers wait
// for that; the error goes to the first.
func (l *line) endIf(condition func() bool) error {
	l.pool.mu.Lock()
	if !condition() {
		l.pool.mu.Unlock()
		return nil
	}
	first := !l.ending
	l.ending = true
	l.pool.mu.Unlock()
	if !first {
		<-l.gone
		return nil
	}

	var err error
	if <-l.ready; l.conn != nil {
		err = l.conn.Close()
	}
	l.pool.mu.Lock()
	delete(l.pool.lines, l.target.place)
	l.pool.mu.Unlock()
	close(l.gone)
	return err
}

// check passes on what a Read or Write returned. A lost line is shut at once:
// the other users find it lost too, and the next Open need not wait for them.
func (l *line) check(n int, err error) (int, error) {
	if errors.Is(err, driver.ErrLineLost) {
		return n, errors.Join(err, l.shut())
	}
	return n, err
}
