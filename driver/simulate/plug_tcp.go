package simulate

import (
	"context"
	"net"
	"sync"
)

type tcpSocket struct {
	hostPort string // port 0 until it was plugged in first
}

func (s *tcpSocket) address() string { return "tcp:" + s.hostPort }

func (s *tcpSocket) plugIn() (jack, error) {
	l, err := net.Listen("tcp", s.hostPort)
	if err != nil {
		return nil, err
	}
	s.hostPort = l.Addr().String()
	j := &tcpJack{listener: l, opened: make(chan net.Conn), out: make(chan struct{})}
	j.accepting.Go(j.accept)
	return j, nil
}

type tcpJack struct {
	listener  net.Listener
	opened    chan net.Conn
	out       chan struct{}
	accepting sync.WaitGroup
}

// accept hands connections to next. A new one ends the one before: a client
// that comes back before its old connection is known to be dead is not kept
// waiting.
func (j *tcpJack) accept() {
	var present net.Conn
	for {
		c, err := j.listener.Accept()
		if present != nil {
			present.Close()
		}
		if err != nil {
			return
		}
		present = c
		select {
		case j.opened <- c:
		case <-j.out:
			c.Close()
			return
		}
	}
}

func (j *tcpJack) next(ctx context.Context) (session, error) {
	select {
	case c := <-j.opened:
		return c, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (j *tcpJack) pull() error {
	close(j.out)
	err := j.listener.Close()
	j.accepting.Wait()
	return err
}
