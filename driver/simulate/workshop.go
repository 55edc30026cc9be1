package simulate

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"time"
)

// WorkshopConfig is what may be chosen about a simulated workshop.
type WorkshopConfig struct {
	// Dir is where the links to the pseudo-terminals are made, and Name what
	// they begin with.
	Dir, Name string
	Design    Design
	// Seed decides every coil and the noise of the instruments.
	Seed uint64
	// Speed, Coils, Recorded and SpoolChanged are those of the [Operator].
	Speed        float64
	Coils        int
	Recorded     func(context.Context, OnClips) error
	SpoolChanged func(ctx context.Context, spool string) error
}

// Workshop is a bench with a meter and a probe plugged in, a winder and an
// operator.
//
// Its meter is a [Meter] that wakes in volts: it must be sent CONF:RES
// first. Its readings are 0.02 % high and within ±(0.05 % + 0.3 Ω) once
// LeadOhms is subtracted. Its probe prints a line such as "T=21.43 C" every
// half second, 0.1 K high.
type Workshop struct {
	MeterPlug *Plug
	ProbePlug *Plug
	Operator  *Operator
	// LeadOhms is what the leads add, as a zero check would find it.
	LeadOhms float64
	// CoilTimeConstant is the thermal time constant of the coils at the speed
	// of the workshop.
	CoilTimeConstant time.Duration
}

// OpenWorkshop plugs the instruments in. They answer at once; coils come when
// the Operator runs.
func OpenWorkshop(c WorkshopConfig) (*Workshop, error) {
	model := OrdinaryMeter()
	model.GainErrorRatio, model.LeadOhms = 0.0002, 0.25
	probe := OrdinaryProbe()
	probe.OffsetKelvin = 0.1
	phase := 2 * math.Pi * rand.New(rand.NewPCG(c.Seed, 5)).Float64()
	bench := NewBench(Config{
		Room:  Room{BaseCelsius: 21, SwingKelvin: 0.4, Period: 45 * time.Minute, Phase: phase},
		Meter: model,
		Probe: probe,
		Seed:  c.Seed,
	})
	meter := &Meter{Bench: bench, Integration: model.Integration, AnswerDelay: 10 * time.Millisecond}
	w := &Workshop{
		LeadOhms: model.LeadOhms,
		Operator: &Operator{
			Bench: bench, Winder: NewWinder(c.Design, c.Seed), Speed: c.Speed, Coils: c.Coils,
			Recorded: c.Recorded, SpoolChanged: c.SpoolChanged,
		},
	}
	w.CoilTimeConstant = w.Operator.sooner(CopperCoil(0, 0).TimeConstant)
	var err error
	if w.MeterPlug, err = PlugAny(c.Dir, c.Name+"-meter", meter); err != nil {
		return nil, err
	}
	if w.ProbePlug, err = PlugAny(c.Dir, c.Name+"-probe", &Probe{Bench: bench, Every: 500 * time.Millisecond}); err != nil {
		return nil, errors.Join(err, w.MeterPlug.Close())
	}
	return w, nil
}

// Close pulls both cables for good. The Operator ends by its context.
func (w *Workshop) Close() error {
	return errors.Join(w.MeterPlug.Close(), w.ProbePlug.Close())
}
