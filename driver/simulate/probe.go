package simulate

import (
	"context"
	"fmt"
	"io"
	"time"
)

// Probe is a thermometer that prints a line such as "T=21.43 C" by itself,
// again and again. Whoever opens its port first gets the second half of a line.
type Probe struct {
	// Bench is what it measures.
	Bench *Bench
	// Every is the time between two lines.
	Every time.Duration
}

// Serve implements Instrument.
func (p *Probe) Serve(ctx context.Context, line io.ReadWriter) {
	ctx, cancel := context.WithCancel(ctx)
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		defer cancel()
		_, _ = io.Copy(io.Discard, line) // its end, with an error or not, is that of the listener
	}()
	defer func() { <-gone }()
	whole := p.line()
	_, err := io.WriteString(line, whole[len(whole)/2:])
	for err == nil && Pause(ctx, p.Every) == nil {
		_, err = io.WriteString(line, p.line())
	}
}

func (p *Probe) line() string { return fmt.Sprintf("T=%.2f C\r\n", p.Bench.ReadProbe()) }
