package simulate

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// Ohms per 1000 ft at 20 °C of wire with the geometric diameters of ASTM B258
// and the resistivity of IEC 60028, as testdata/copper/awg_wire.csv has them.
var ohmsPer1000Feet = map[int]float64{42: 1667.75, 43: 2103.00}

func TestDesignsAreCopper(t *testing.T) {
	t.Parallel()
	designs := Designs()
	if len(designs) != 4 {
		t.Fatalf("got %d designs, want 4", len(designs))
	}
	gauges := map[int]int{}
	for _, d := range designs {
		gauges[d.GaugeAWG]++
		meanTurnMM := 2*d.StraightMM + 2*math.Pi*(d.CoreRadiusMM+d.BuildMM/2)
		want := float64(d.Turns) * meanTurnMM / 1000 * ohmsPer1000Feet[d.GaugeAWG] / 304.8
		// Rounding to 10 Ω is 5 Ω, rounding in the table 0.001 %.
		if math.Abs(d.TargetOhms-want) > 5.1 {
			t.Errorf("%s: target is %v Ω, copper says %.1f Ω", d.Name, d.TargetOhms, want)
		}
	}
	if gauges[42] != 2 || gauges[43] != 2 {
		t.Errorf("gauges are %v, want two each of 42 and 43", gauges)
	}
}

func TestWinder(t *testing.T) {
	t.Parallel()
	d := Designs()[1]
	w, same, other := NewWinder(d, 3), NewWinder(d, 3), NewWinder(d, 4)
	var ordinary []float64 // deviations from the mean of the spool
	happened := map[Happening]int{}
	differ := false
	for i := range 10 * storyLength {
		c := w.Next()
		if again := same.Next(); again != c {
			t.Fatalf("equal seeds made %+v and %+v", c, again)
		}
		differ = differ || other.Next().R20Ohms != c.R20Ohms
		happened[c.Happening]++
		off := 100 * math.Abs(c.R20Ohms/d.TargetOhms-1)
		if out := off > d.TolerancePercent; out != (c.Happening == ShortOfTurns) {
			t.Errorf("coil %d (%q) is %.2f %% off, tolerance %v %%", c.Sequence, c.Happening, off, d.TolerancePercent)
		}
		if c.Happening != ShortOfTurns {
			spool := ((i + storyLength - newSpoolAt + 1) / storyLength) % len(spoolRatios)
			ordinary = append(ordinary, c.R20Ohms/d.TargetOhms/(1+spoolRatios[spool])-1)
		}
		if warm := c.AboveRoomKelvin > 2; warm != (c.Happening == Warm) {
			t.Errorf("coil %d (%q) is %.2f K above the room", c.Sequence, c.Happening, c.AboveRoomKelvin)
		}
	}
	if !differ {
		t.Error("different seeds made the same coils")
	}
	for _, h := range []Happening{ShortOfTurns, Warm, Fingered, Bounced} {
		if happened[h] != 10 {
			t.Errorf("%q happened %d times in ten batches, want 10", h, happened[h])
		}
	}
	var sum, squares float64
	for _, v := range ordinary {
		sum += v
		squares += v * v
	}
	n := float64(len(ordinary))
	sd := math.Sqrt(squares/n - sum/n*sum/n)
	// Three standard errors of a standard deviation of 190 coils are 15 % of
	// it; cutting the tails at 2.5 takes 3 % away.
	if sd < 0.8*scatterRatio || sd > 1.15*scatterRatio {
		t.Errorf("coils from a spool scatter by %.3f %%, want about %.3f %%", 100*sd, 100*scatterRatio)
	}
}

func TestSpoolChangeMidBatch(t *testing.T) {
	t.Parallel()
	w := NewWinder(Designs()[0], 1)
	var changes []int
	spools := map[string]int{}
	for range storyLength {
		c := w.Next()
		spools[c.Spool]++
		if c.NewSpool {
			changes = append(changes, c.Sequence)
		}
	}
	if !slices.Equal(changes, []int{11}) || len(spools) != 2 {
		t.Errorf("the spool changed at coils %v, %d spools; want at 11, two spools", changes, len(spools))
	}
}

// measured is what the bench of a test knows of one coil.
type measured struct {
	OnClips
	truth truth
}

func TestOperatorWorksABatch(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		bench := NewBench(Config{Room: Room{BaseCelsius: 21}, Meter: OrdinaryMeter(), Probe: OrdinaryProbe()})
		var got []measured
		var spools []string
		operator := &Operator{
			Bench: bench, Winder: NewWinder(Designs()[0], 1), Speed: 5, Coils: 12,
			Recorded: func(ctx context.Context, on OnClips) error {
				time.Sleep(3 * time.Second) // in the bubble's own time
				now := bench.truth()
				got = append(got, measured{on, now})
				if now.CoilCelsius-now.RoomCelsius > 2 {
					return ErrSetAside
				}
				return nil
			},
			SpoolChanged: func(_ context.Context, spool string) error {
				spools = append(spools, spool)
				return nil
			},
		}
		if err := operator.Run(t.Context()); err != nil {
			t.Fatalf("working a batch: %v", err)
		}
		checkBatch(t, got)
		if !slices.Equal(spools, []string{"HL-118"}) {
			t.Errorf("spools changed to %v, want HL-118", spools)
		}
		if bench.truth().Attached {
			t.Error("a coil is still on the clips")
		}
	})
}

func checkBatch(t *testing.T, got []measured) {
	t.Helper()
	final := map[int]float64{}
	var order []int
	for _, m := range got {
		if m.truth.Coil.R20Ohms != m.R20Ohms {
			t.Errorf("coil %d has %v Ω at 20 °C on the clips, want %v Ω", m.Sequence, m.truth.Coil.R20Ohms, m.R20Ohms)
		}
		if again := order != nil && slices.Contains(order, m.Sequence); again != m.Again {
			t.Errorf("coil %d: again is %v, want %v", m.Sequence, m.Again, again)
		}
		order = append(order, m.Sequence)
		final[m.Sequence] = m.truth.CoilCelsius - m.truth.RoomCelsius
	}
	// The warm coil, the fifth, comes back after three others, and again.
	if !slices.Equal(order[:9], []int{1, 2, 3, 4, 5, 6, 7, 8, 5}) {
		t.Errorf("coils came in the order %v, want 1 2 3 4 5 6 7 8 5 …", order)
	}
	for sequence := 1; sequence <= 12; sequence++ {
		if above, ok := final[sequence]; !ok || above > 2 {
			t.Errorf("coil %d was %.2f K above the room when last seen (seen: %v)", sequence, above, ok)
		}
	}
}

func TestOperatorEnds(t *testing.T) {
	t.Parallel()
	broken := errors.New("the bench is broken")
	tests := []struct {
		name     string
		recorded func(cancel func()) func(context.Context, OnClips) error
		want     error
	}{
		{"when told to", func(cancel func()) func(context.Context, OnClips) error {
			return func(ctx context.Context, _ OnClips) error {
				cancel()
				<-ctx.Done()
				return ctx.Err()
			}
		}, nil},
		{"when the bench fails", func(func()) func(context.Context, OnClips) error {
			return func(context.Context, OnClips) error { return broken }
		}, broken},
		{"between two coils", func(cancel func()) func(context.Context, OnClips) error {
			return func(context.Context, OnClips) error {
				time.AfterFunc(time.Second, cancel)
				return nil
			}
		}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				bench := NewBench(Config{Room: Room{BaseCelsius: 21}})
				operator := &Operator{Bench: bench, Winder: NewWinder(Designs()[0], 1), Recorded: tt.recorded(cancel)}
				if err := operator.Run(ctx); !errors.Is(err, tt.want) {
					t.Errorf("got %v, want %v", err, tt.want)
				}
				if bench.truth().Attached {
					t.Error("a coil is still on the clips")
				}
			})
		})
	}
}

func TestWorkshop(t *testing.T) {
	t.Parallel()
	w, err := OpenWorkshop(WorkshopConfig{Dir: t.TempDir(), Name: "north", Design: Designs()[0], Seed: 1, Speed: 20})
	if err != nil {
		t.Fatalf("opening the workshop: %v", err)
	}
	defer w.Close()
	w.Operator.Bench.Attach(CopperCoil(5500, 21))
	meter, probe := open(t, w.MeterPlug.Address()), open(t, w.ProbePlug.Address())
	meter.say(t, "FUNC?\nCONF:RES\nREAD?\nREAD?\nREAD?\n")
	meter.wantLine(t, "\"VOLT\"\n")
	meter.line(t)
	meter.line(t)
	// The third reading is taken at least 300 ms after contact.
	if third := meter.line(t); !strings.HasPrefix(third, "+5.52") {
		t.Errorf("the meter reads %q, want about 5522 Ω", third)
	}
	probe.line(t) // cut
	if got := probe.line(t); !strings.HasPrefix(got, "T=2") {
		t.Errorf("the probe says %q, want about 21 °C", got)
	}
	if w.CoilTimeConstant != 30*time.Second {
		t.Errorf("coils have a time constant of %v at twenty times the speed, want 30s", w.CoilTimeConstant)
	}
	if err := w.Close(); err != nil {
		t.Errorf("closing: %v", err)
	}
}
