package drivertest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"
	"unicode"

	"coilkeep/driver"
)

const (
	// timeout is that of the driver's settings; the bubble's clock makes it
	// free.
	timeout = time.Second
	// delay is how long a quick instrument takes to answer, and interval how
	// often one that talks unasked does so.
	delay    = 20 * time.Millisecond
	interval = 100 * time.Millisecond
	// slack is what a driver may take beyond a limit, for instance to see that
	// a frame is over.
	slack = 60 * time.Millisecond
	// never is when the suite stops waiting for what should come by itself.
	never = 10 * timeout
	// ahead is by how much the clock of the settings runs ahead of the system,
	// so that a driver which asks the latter is found out.
	ahead = 12 * time.Hour
)

// behaviour is what the played instrument does when it is to say its value:
// which bytes it sends and how long it takes to do so. A nil behaviour is that
// of an instrument that says nothing at all, to whatever message.
type behaviour func(answer []byte) (sends []byte, after time.Duration)

func healthy(answer []byte) ([]byte, time.Duration) { return answer, delay }

// rig is a driver with its peer at the other end of a line.
type rig struct {
	ctx    context.Context
	driver driver.Driver
	peer   Peer

	near *near
	far  *Far
	conn driver.Conn // what the driver is given; nil for one without a port

	instrument driver.Instrument
	quit       chan struct{}
	peers      sync.WaitGroup

	mu      sync.Mutex
	acts    behaviour
	values  []float64   // everything the instrument measured, in order
	arrived []time.Time // when the answer with that value arrived; zero if never
	read    int         // index in values after that of the last reading
}

func newRig(ctx context.Context, d driver.Driver, peer Peer) *rig {
	r := &rig{ctx: ctx, driver: d, peer: peer, acts: healthy, quit: make(chan struct{})}
	r.near, r.far = pipe()
	switch {
	case d.NoPort:
	case d.SharesPort:
		r.conn = &sharedNear{near: r.near, token: make(chan struct{}, 1)}
	default:
		r.conn = r.near
	}
	return r
}

// open opens the instrument while the peer plays its part.
func (r *rig) open() error {
	if !r.driver.NoPort {
		r.play()
	}
	i, err := r.tryOpen(r.ctx)
	if err != nil {
		return fmt.Errorf("open with an instrument that answers = %w", err)
	}
	r.instrument = i
	if r.driver.NoPort {
		r.play() // a person can type only now
	}
	return nil
}

// openAndRead opens the instrument and reads until the first value.
func (r *rig) openAndRead() error {
	if err := r.open(); err != nil {
		return err
	}
	_, err := r.readGood()
	return err
}

func (r *rig) tryOpen(ctx context.Context) (driver.Instrument, error) {
	options := driver.Options{}
	for _, o := range r.driver.Options {
		options[o.Name] = o.Default
		if given, ok := r.peer.Options[o.Name]; ok {
			options[o.Name] = given
		}
	}
	return r.driver.Open(ctx, r.conn, driver.Settings{
		Quantity: r.peer.Quantity, Timeout: timeout, Options: options,
		Now: func() time.Time { return time.Now().Add(ahead) },
	})
}

// end closes everything and waits for the peer; what the driver leaves behind
// is found by the bubble.
func (r *rig) end() {
	if r.instrument != nil {
		r.instrument.Close()
	}
	r.near.Close()
	close(r.quit)
	r.peers.Wait()
}

// play starts the peer.
func (r *rig) play() {
	if r.peer.Respond == nil {
		r.peers.Go(r.talk)
	} else {
		r.peers.Go(r.respond)
	}
}

// talk says a value now and then.
func (r *rig) talk() {
	for r.pause(interval) {
		r.say()
	}
}

// respond answers one message after the other, as a real instrument does.
func (r *rig) respond() {
	var sent []byte
	p := make([]byte, 512)
	for {
		n, err := r.far.Read(p)
		if err != nil {
			return
		}
		sent = append(sent, p[:n]...)
		for {
			length, response := r.peer.Respond(sent)
			if length == 0 {
				break
			}
			sent = sent[length:]
			if response.Value {
				r.say()
			} else if !r.silent() {
				r.far.Write(response.Bytes)
			}
		}
	}
}

// say measures a new value and sends it as the present behaviour has it.
func (r *rig) say() {
	r.mu.Lock()
	index := len(r.values)
	value := r.value(index)
	r.values, r.arrived = append(r.values, value), append(r.arrived, time.Time{})
	acts := r.acts
	r.mu.Unlock()
	if acts == nil {
		return
	}
	sends, after := acts(r.peer.Answer(value))
	if !r.pause(after) || len(sends) == 0 {
		return
	}
	r.mu.Lock()
	r.arrived[index] = time.Now().Add(ahead)
	r.mu.Unlock()
	if r.driver.NoPort {
		if typist, ok := r.instrument.(driver.Typist); ok {
			typist.Type(string(sends)) // a refusal shows as a missing reading
		}
		return
	}
	r.far.Write(sends)
}

// value is what the instrument measures the index-th time.
func (r *rig) value(index int) float64 {
	if r.peer.Quantity == driver.Temperature {
		return 20 + float64(index%10)
	}
	return 5001 + float64(index%999)
}

// pause waits and tells whether the rig is still in use.
func (r *rig) pause(d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-r.quit:
		return false
	}
}

// behave changes what the instrument does from its next message on.
func (r *rig) behave(b behaviour) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.acts = b
}

// silence makes the instrument say nothing, and forgets what it was saying.
func (r *rig) silence() {
	r.behave(nil)
	r.pause(2 * delay)
	r.near.Discard()
}

func (r *rig) silent() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.acts == nil
}

// asked is how many values the instrument was to say.
func (r *rig) asked() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.values)
}

// readGood reads until a value comes, which must be soon: a few readings may
// be given up after trouble, to find the beginning of an answer again.
func (r *rig) readGood() (driver.Reading, error) {
	const attempts = 6
	for range attempts {
		reading, err := r.readAny(r.ctx)
		if err != nil && !errors.Is(err, driver.ErrSilent) {
			return reading, fmt.Errorf("read of an instrument that answers = %w", err)
		}
		if err == nil && reading.Status == driver.OK {
			return reading, nil
		}
	}
	return driver.Reading{}, fmt.Errorf("%d reads of an instrument that answers gave no value", attempts)
}

// readAny reads once and checks what is true of every reading: it keeps the
// time-out, is well formed, and if a number is the one it must be.
func (r *rig) readAny(ctx context.Context) (driver.Reading, error) {
	start := time.Now()
	giveUp := time.AfterFunc(never, r.hangUp)
	reading, err := r.instrument.Read(ctx)
	giveUp.Stop()
	if took := time.Since(start); took > timeout+slack {
		return driver.Reading{}, fmt.Errorf("read took %v with a time-out of %v, then gave %v", took, timeout, err)
	}
	if err != nil {
		return driver.Reading{}, err
	}
	if err := wellFormed(reading); err != nil {
		return driver.Reading{}, err
	}
	if reading.Status != driver.OK {
		return reading, nil
	}
	return reading, r.belongs(reading)
}

// hangUp ends what a driver is doing that does not end by itself.
func (r *rig) hangUp() {
	if r.driver.NoPort {
		r.instrument.Close()
	}
	r.near.Close()
}

// wellFormed checks what the comments of driver.Reading promise.
func wellFormed(reading driver.Reading) error {
	ok := reading.Status == driver.OK
	known := ok || reading.Status == driver.Overload || reading.Status == driver.Unreadable || reading.Status == driver.Impossible
	switch {
	case !known:
		return fmt.Errorf("reading %+v has an unknown status", reading)
	case ok && (reading.Reason != "" || math.IsNaN(reading.Value) || math.IsInf(reading.Value, 0)):
		return fmt.Errorf("reading %+v is ok with a reason or without a number", reading)
	case !ok && (reading.Reason == "" || reading.Value != 0):
		return fmt.Errorf("reading %+v is not ok and has no reason, or has a value", reading)
	case reading.Time.IsZero():
		return fmt.Errorf("reading %+v has no time", reading)
	case reading.Resolution < 0 || math.IsNaN(reading.Resolution):
		return fmt.Errorf("reading %+v has an impossible resolution", reading)
	case reading.Raw == "" || len(reading.Raw) > 4<<10:
		return fmt.Errorf("reading with status %s has a raw text of %d bytes, want 1 to 4096", reading.Status, len(reading.Raw))
	case strings.ContainsFunc(reading.Raw, func(c rune) bool { return !unicode.IsPrint(c) || c == unicode.ReplacementChar }):
		return fmt.Errorf("raw text %q is not escaped", reading.Raw)
	}
	return nil
}

// belongs checks that the value of a reading is the one just asked for or, of
// an instrument that talks unasked, one that came after the last reading; and
// that its time is that of its arrival.
func (r *rig) belongs(reading driver.Reading) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	from := r.read
	if r.peer.Respond != nil {
		from = max(from, len(r.values)-1)
	}
	for i := from; i < len(r.values); i++ {
		late := reading.Time.Sub(r.arrived[i])
		if math.Abs(r.values[i]-reading.Value) < 0.4 && late >= 0 && late <= slack {
			r.read = i + 1
			return nil
		}
	}
	return fmt.Errorf("read = %+v, but by the clock of the settings the answers due, after those with %v, are %v "+
		"that arrived at %v (the year 1 means not at all)",
		reading, r.values[max(0, from-3):from], r.values[from:], r.arrived[from:])
}

// lastRead is the number of the value read last, from 1.
func (r *rig) lastRead() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.read
}

// sharedNear is a line that others use too: it insists on being locked.
type sharedNear struct {
	*near
	token chan struct{} // holds one while locked; a channel, for the bubble's sake
}

var errUnlocked = errors.New("a shared line was used without its lock")

func (s *sharedNear) Lock()        { s.token <- struct{}{} }
func (s *sharedNear) Unlock()      { <-s.token }
func (s *sharedNear) locked() bool { return len(s.token) > 0 }

func (s *sharedNear) Read(p []byte) (int, error) {
	if !s.locked() {
		return 0, errUnlocked
	}
	return s.near.Read(p)
}

func (s *sharedNear) Write(p []byte) (int, error) {
	if !s.locked() {
		return 0, errUnlocked
	}
	return s.near.Write(p)
}
