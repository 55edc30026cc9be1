package simulate_test

import (
	"fmt"
	"log"
	"os"
	"time"

	"coilkeep/driver/simulate"
)

// A test or a demo puts a coil on a bench, plugs the instruments in and gives
// their addresses to whatever is to measure it.
func Example() {
	dir, err := os.MkdirTemp("", "bench")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)

	bench := simulate.NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: 21},
		Meter: simulate.OrdinaryMeter(),
		Probe: simulate.OrdinaryProbe(),
		Seed:  1,
	})
	meter, err := simulate.PlugAny(dir, "meter", &simulate.Meter{Bench: bench, Integration: 100 * time.Millisecond})
	if err != nil {
		log.Fatal(err)
	}
	defer meter.Close()
	probe, err := simulate.PlugAny(dir, "probe", &simulate.Probe{Bench: bench, Every: time.Second})
	if err != nil {
		log.Fatal(err)
	}
	defer probe.Close()

	// The configuration of a bench says port = meter.Address(), and so on.
	bench.Attach(simulate.CopperCoil(6690, 29))
	fmt.Printf("R20 is %.0f Ω, whatever the meter shows\n", bench.Detach().R20Ohms)
	// Output: R20 is 6690 Ω, whatever the meter shows
}

// Physics alone needs no instruments and no waiting: the clock is the test's.
func ExampleBench() {
	now := time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC)
	bench := simulate.NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: 21},
		Meter: simulate.MeterModel{ResolutionOhms: 1},
		Now:   func() time.Time { return now },
	})
	bench.Attach(simulate.CopperCoil(6690, 29))
	for range 3 {
		fmt.Printf("%.0f Ω\n", bench.ReadMeter().Value)
		now = now.Add(10 * time.Minute)
	}
	// Output:
	// 6927 Ω
	// 6794 Ω
	// 6745 Ω
}
