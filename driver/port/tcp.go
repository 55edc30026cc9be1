package port

import (
	"context"
	"fmt"
	"net"
	"time"
)

// dial connects to a serial server within the time-out. A server that is
// switched off without a word is noticed after about half a minute, when its
// keep-alive probes stay unanswered; until then it is merely silent.
func dial(ctx context.Context, hostPort string, timeout time.Duration) (stream, error) {
	dialer := net.Dialer{
		Timeout:         timeout,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 15 * time.Second, Interval: 5 * time.Second, Count: 3},
	}
	c, err := dialer.DialContext(ctx, "tcp", hostPort)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %w; is the serial server switched on, and are host and port number right?", ErrMissing, err)
	}
	return c, nil
}
