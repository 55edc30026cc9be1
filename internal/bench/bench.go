package bench

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Bench is one place to measure. Run does the work; every other method may be
// called from any goroutine while Run runs.
type Bench struct {
	settings Settings
	store    Store
	counter  Counter
	hub      *Hub
	log      *slog.Logger

	notices  chan notice
	requests chan request
	saves    chan saved // holds one, so that a write under way never blocks
	contexts chan surroundings
	stopped  chan struct{}
	refetch  chan struct{}

	snapshot atomic.Pointer[Snapshot]
	// changes counts what this bench has written that its surroundings depend on.
	changes atomic.Int64
	// questions counts how often the history was asked for them.
	questions atomic.Int64
	notes     sync.WaitGroup // journal entries and the like being written
	// coming is the coil to come, for whoever asks the history about it.
	coming atomic.Pointer[workshop.Coming]
	// stopping is closed once the bench is told to stop.
	stopping chan struct{}

	// station is what only Run's goroutine and what it does for others may touch.
	station *station
}

// station is a bench as its own goroutine sees it: what is on the clips, which coil is
// to come, what waits to be written. Nothing of it may be touched but by Run, or by
// what is handed to [Bench.do].
type station struct {
	*Bench
	machine *capture.Machine
	clock   steadyClock
	meter   instrumentState
	probe   instrumentState
	around  surroundings
	next    nextCoil
	pending *pending
	side    *sideJob // nil while coils are measured
	last    *record.Measurement
	// onClips is the coil that is recorded and still on the clips; nil otherwise.
	onClips *clipped
	change  *VerdictChange
	// lost are the coils that were not recorded.
	lost lostCoils
	// clockSetUntil is the later of the times before and after the clock was set
	// last: what was said until then is by another clock.
	clockSetUntil time.Time
	// published is the last snapshot sent as an event, and when.
	published   Snapshot
	publishedAt time.Time
}

// request is something a person asked for, answered on Run's goroutine.
type request struct {
	do    func(*station) error
	reply chan error
}

// instrumentState is one instrument as the bench sees it.
type instrumentState struct {
	Instrument
	screen     *capture.Screen
	instrument driver.Instrument
	opened     bool // it has been open at least once
	// known is what it said of itself when it was taken into use; stranger is
	// true while a meter says something else.
	known    string
	stranger bool
	// readable is when it last gave an answer that could be read, or was opened;
	// garbled is true once that has been too long ago.
	readable time.Time
	garbled  bool
	// logged holds what was logged of it since it was last up.
	logged []string
}

// New returns a bench that is not running yet. None of its arguments may be
// nil.
func New(s Settings, store Store, counter Counter, hub *Hub, log *slog.Logger) *Bench {
	b := &Bench{
		settings: s, store: store, counter: counter, hub: hub, log: log.With("bench", s.Name),
		notices: make(chan notice, 64), requests: make(chan request), saves: make(chan saved, 1),
		contexts: make(chan surroundings), stopped: make(chan struct{}), refetch: make(chan struct{}, 1),
		stopping: make(chan struct{}),
	}
	b.coming.Store(&workshop.Coming{})
	b.station = newStation(b)
	b.station.refresh()
	return b
}

// newStation is the station of a bench before anything has arrived.
func newStation(of *Bench) *station {
	s := of.settings
	b := &station{Bench: of, clock: newSteadyClock(time.Now()), machine: capture.New(s.Capture)}
	b.meter = instrumentState{screen: screenOf(s.Meter, capture.NewMeterScreen()), Instrument: described(s.Name, record.Meter, s.Meter)}
	if s.Probe != nil {
		b.probe = instrumentState{
			screen:     screenOf(*s.Probe, capture.NewProbeScreen(s.ProbeLowCelsius, s.ProbeHighCelsius)),
			Instrument: described(s.Name, record.Probe, *s.Probe),
		}
	} else {
		b.probe.Instrument = Instrument{Role: record.Probe, Fault: "this bench has no probe, so nothing can be referred to 20 °C"}
	}
	b.machine.Hold("starting")
	b.machine.Tick(b.now())
	return b
}

// screenOf is the screen of an instrument: by is for those that measure.
func screenOf(s InstrumentSettings, by *capture.Screen) *capture.Screen {
	if s.Typed {
		return capture.NewTypedScreen()
	}
	return by
}

// described is an instrument before it is opened. One that nobody has named is called
// by its place, which a cable in another socket does not change.
func described(bench string, role record.Role, s InstrumentSettings) Instrument {
	name := s.Name
	if name == "" && !s.Typed {
		name = string(role) + " of bench " + bench
	}
	return Instrument{Role: role, Driver: s.Driver, Port: s.Port, Name: name, Fault: "opening"}
}

// Name returns the bench's name.
func (b *Bench) Name() string { return b.settings.Name }

// Snapshot returns how the bench stands now.
func (b *Bench) Snapshot() Snapshot { return *b.snapshot.Load() }

// tick is how often the bench looks at the clock when nothing arrives.
const tick = 200 * time.Millisecond

// Run runs the bench until ctx ends. A measurement that is being written then
// is finished first.
func (b *Bench) Run(ctx context.Context) error {
	defer close(b.stopped)
	readers, stopReaders := context.WithCancel(ctx)
	var tasks sync.WaitGroup
	defer b.notes.Wait()
	defer tasks.Wait()
	defer stopReaders()
	defer close(b.stopping)
	b.supervise(readers, &tasks, record.Meter, b.settings.Meter)
	if b.settings.Probe != nil {
		b.supervise(readers, &tasks, record.Probe, *b.settings.Probe)
	}
	tasks.Go(func() { b.watchSurroundings(readers) })

	st := b.station
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			st.finishPending()
			return nil
		case n := <-b.notices:
			st.take(ctx, n)
		case r := <-b.requests:
			r.reply <- r.do(st)
		case s := <-b.saves:
			st.saved(ctx, s)
		case a := <-b.contexts:
			st.surround(a)
		case <-ticker.C:
			st.ticked()
			st.retry(ctx)
			st.endSideJob(st.now(), nil)
		}
		st.refresh()
	}
}

// now is the bench's time.
func (b *station) now() time.Time { return b.clock.at(time.Now()) }

// ticked looks at the clock. When it was set, times before and after do not
// belong together.
func (b *station) ticked() {
	before := b.now()
	if now := time.Now(); b.clock.follow(now, now.Round(0)) {
		b.log.Warn("the clock of this machine was set")
		b.clockSetUntil = before
		b.clockSet()
	}
	b.machine.Tick(b.now())
}

// clockSet begins every wait anew that was reckoned by the old clock.
func (b *station) clockSet() {
	now := b.now()
	if now.After(b.clockSetUntil) {
		b.clockSetUntil = now
	}
	b.machine.ClockSet()
	b.onClips = nil // what is kept of it is by two clocks
	b.configure()
	b.meter.clockSet(now)
	b.probe.clockSet(now)
	if b.pending != nil {
		b.pending.retryAt = now
	}
	if b.side != nil {
		b.side.began = now
	}
	b.publishedAt = time.Time{}
}

func (s *instrumentState) clockSet(now time.Time) {
	s.readable = now
	if s.screen != nil {
		s.screen.Reset()
	}
}

func (b *Bench) supervise(ctx context.Context, tasks *sync.WaitGroup, role record.Role, s InstrumentSettings) {
	sup := &supervisor{role: role, settings: s, log: b.log, tell: b.tell}
	tasks.Go(func() { sup.run(ctx) })
}

func (b *Bench) tell(ctx context.Context, n notice) {
	select {
	case b.notices <- n:
	case <-ctx.Done():
	}
}

func (b *station) instrument(role record.Role) *instrumentState {
	if role == record.Probe {
		return &b.probe
	}
	return &b.meter
}

// take handles what a supervisor has to tell.
func (b *station) take(ctx context.Context, n notice) {
	s := b.instrument(n.role)
	switch {
	case n.reading != nil:
		b.reading(ctx, s, *n.reading)
		return
	case n.dropped > 0:
		b.counter.BytesDropped(b.settings.Name, s.Role, n.dropped)
		return
	case n.opened:
		b.instrumentOpened(s, n)
	default:
		b.instrumentDown(s, n)
	}
	b.hub.Publish(Event{InstrumentEvent, b.settings.Name, InstrumentData{b.settings.Name, s.Instrument}})
}

func (b *station) instrumentOpened(s *instrumentState, n notice) {
	first := !s.opened
	if !first {
		s.Reconnects++
		b.counter.Reconnected(b.settings.Name, s.Role)
	}
	s.opened, s.instrument = true, n.instrument
	s.meet(n.identity, first)
	s.readable, s.garbled = b.now(), false
	s.screen.Reset()
	if _, typed := n.instrument.(driver.Typist); typed {
		s.Up, s.Fault = true, ""
	}
	b.log.Debug("instrument opened", "role", s.Role, "device", s.Port, "identity", s.Identity)
	b.configure()
}

func (b *station) instrumentDown(s *instrumentState, n notice) {
	if n.lost {
		s.instrument = nil
	}
	b.down(s, n.fault)
}

// down marks an instrument as giving nothing, and why.
func (b *station) down(s *instrumentState, fault string) {
	s.Up, s.Fault = false, fault
	s.logOnce(b.log, fault)
	if s.Role == record.Meter {
		b.outcome(context.Background(), b.machine.Lost(b.now(), fault), "")
		b.onClips = nil // it may be another when the meter comes back
		b.configure()
		b.endSideJob(b.now(), nil) // another meter may come back
	}
}

// logOnce logs a fault that is new since the instrument was last up; one that
// is switched off all night tries again every few seconds.
func (s *instrumentState) logOnce(log *slog.Logger, fault string) {
	const most = 4
	if slices.Contains(s.logged, fault) || len(s.logged) >= most {
		return
	}
	s.logged = append(s.logged, fault)
	log.Warn("instrument down", "role", s.Role, "device", s.Port, "err", fault)
}

// unreadable takes an answer that cannot be read. One is nothing; nothing else
// for longer than a time-out is a fault.
func (b *station) unreadable(s *instrumentState, r driver.Reading) {
	settings := b.settings.Meter
	if s.Role == record.Probe {
		settings = *b.settings.Probe
	}
	// The first reason stands: noise gives another one with every answer.
	if s.garbled || r.Time.Sub(s.readable) <= settings.Timeout {
		return
	}
	s.garbled = true
	b.down(s, fmt.Sprintf("its answers cannot be read: %s; check baud, frame, pattern and cable", r.Reason))
	b.hub.Publish(Event{InstrumentEvent, b.settings.Name, InstrumentData{b.settings.Name, s.Instrument}})
}

// reading takes one reading of an instrument into the capture.
func (b *station) reading(ctx context.Context, s *instrumentState, r driver.Reading) {
	r.Time = b.clock.at(r.Time)
	r = s.screen.Check(r)
	b.counter.ReadingSeen(b.settings.Name, s.Role, r.Status)
	at := r.Time
	s.LastAt, s.LastRaw, s.LastStatus = &at, r.Raw, string(r.Status)
	b.hub.Publish(Event{ReadingEvent, b.settings.Name, readingData(b.settings.Name, s.Role, r)})
	wasUp := s.Up
	if r.Status == driver.Unreadable {
		b.unreadable(s, r)
		if !s.Up {
			if s.Role == record.Probe { // it has to know that something arrives
				b.outcome(ctx, b.machine.Probe(r), "")
			}
			return
		}
	} else {
		s.Up, s.Fault, s.readable, s.garbled, s.logged = true, "", r.Time, false, nil
	}
	// Of a meter overload is open clips; a probe that shows it gives no
	// temperature.
	if r.Status == driver.Impossible || r.Status == driver.Overload && s.Role == record.Probe {
		s.Fault = r.Reason
	}
	if !wasUp {
		b.log.Info("instrument up", "role", s.Role, "device", s.Port, "identity", s.Identity)
		b.hub.Publish(Event{InstrumentEvent, b.settings.Name, InstrumentData{b.settings.Name, s.Instrument}})
	}
	switch {
	case s.Role == record.Probe:
		b.outcome(ctx, b.machine.Probe(r), "")
	case b.side != nil:
		b.endSideJob(r.Time, &r)
	default:
		b.outcome(ctx, b.machine.Meter(r), "")
	}
}

func readingData(bench string, role record.Role, r driver.Reading) ReadingData {
	d := ReadingData{Bench: bench, Role: role, Time: r.Time.UTC(), Unit: "ohm", Resolution: r.Resolution,
		Status: string(r.Status), Reason: r.Reason, Raw: r.Raw}
	if role == record.Probe {
		d.Unit = "celsius"
	}
	if r.Status == driver.OK {
		d.Value = &r.Value
	}
	return d
}

// outcome acts on what the capture made of an input; who forced it is empty
// when it came by the rules.
func (b *station) outcome(ctx context.Context, out capture.Outcome, who string) {
	recorded := b.onClips
	b.parted(out.Ended, true)
	switch r := out.Result; {
	case r == nil:
	case r.Improves:
		b.saveLonger(ctx, *r, recorded)
	default:
		b.save(ctx, *r, who)
	}
	if out.Ended != nil {
		b.configure()
	}
}

// refresh stores the present snapshot and publishes it when it has changed in
// a way people see, and now and then while numbers run.
func (b *station) refresh() {
	s := b.look()
	if b.onClips != nil && s.State == capture.Asking {
		b.onClips = nil // whether it is the same coil is what is asked
		b.configure()
		s = b.look()
	}
	b.snapshot.Store(&s)
	const often = 500 * time.Millisecond
	if !changed(b.published, s) && s.Time.Sub(b.publishedAt) < often {
		return
	}
	b.published, b.publishedAt = s, s.Time
	b.hub.Publish(Event{StateEvent, b.settings.Name, s})
}

// changed is true when two snapshots differ in more than running numbers.
func changed(a, b Snapshot) bool {
	return a.State != b.State || a.ReadingsHave != b.ReadingsHave || a.NextSerial != b.NextSerial ||
		a.Stage != b.Stage || a.Unsaved != b.Unsaved || a.Batch != b.Batch || a.Last != b.Last || a.LastDeed != b.LastDeed ||
		!slices.Equal(a.Unrecorded, b.Unrecorded) || a.Changed != b.Changed ||
		a.Meter.Fault != b.Meter.Fault || a.Probe.Fault != b.Probe.Fault ||
		(a.ResistanceOhms == nil) != (b.ResistanceOhms == nil) ||
		(a.TemperatureCelsius == nil) != (b.TemperatureCelsius == nil)
}

// look puts together how the bench stands.
func (b *station) look() Snapshot {
	v := b.machine.View()
	s := Snapshot{
		Bench: b.settings.Name, Time: b.now().UTC(),
		State: v.State, Words: v.Words, Since: v.Since.UTC(),
		ReadingsHave: v.Have, ReadingsWanted: v.Want,
		ResistanceOhms: copiedFloat(v.ResistanceOhms), TemperatureCelsius: copiedFloat(v.TemperatureCelsius),
		AheadPercent: copiedFloat(v.AheadPercent), AheadSeconds: capture.Ahead.Seconds(),
		Meter: b.meter.Instrument, Probe: b.probe.Instrument,
		Batch: b.around.Batch, Design: b.design(),
		NextSerial: b.filedUnder(), NextRemark: b.next.remark, Stage: b.stage(), Last: b.last, LastDeed: b.around.Deed,
		Unrecorded: b.lost.listing(b.question()), Changed: b.change,
	}
	if b.side != nil {
		s.State, s.Words = capture.Waiting, b.side.words
	} else if b.meter.Up && b.meter.stranger {
		s.State, s.Words = capture.Waiting, b.meter.strange()
	}
	if v.R20 != nil {
		s.R20Ohms, s.ExpandedUncertaintyOhms = copiedFloat(&v.R20.R20Ohms), copiedFloat(&v.R20.ExpandedUncertaintyOhms)
	}
	if v.Copper != nil {
		s.DifferenceKelvin, s.DifferenceHalfWidthKelvin = copiedFloat(&v.Copper.Kelvin), copiedFloat(&v.Copper.HalfWidthKelvin)
	}
	if b.pending != nil {
		s.Unsaved = b.pending.why
	}
	if s.State == capture.Asking && b.last != nil {
		s.Words += "; measure again only to replace " + b.last.Serial + ", the last one recorded"
	}
	return s
}

func copiedFloat(v *float64) *float64 {
	if v == nil {
		return nil
	}
	c := *v
	return &c
}
