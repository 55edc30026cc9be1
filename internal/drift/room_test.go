package drift

import "testing"

// A probe that scatters, with a room that rises as the coils do: what the probe
// shows coil by coil says nothing of the room that the shape of the drift does
// not say too, so the room is not cleared. Where the room went another way than
// the coils it is.
func TestScatteringProbeDoesNotClearTheRoom(t *testing.T) {
	for name, kind := range map[string]struct {
		room func(i int) float64 // kelvin
		rise func(i int) float64
	}{
		"slope": {func(i int) float64 { return 5 * float64(i) / 99 }, func(i int) float64 { return 0.0125 * float64(i) / 99 }},
		"step":  {during(50, 100, 4), during(50, 100, 0.012)},
	} {
		for _, noise := range []float64{0.2, 0.3, 0.5} {
			cleared := 0
			for seed := range uint64(30) {
				w := newWorkshop(seed).wind(100, "SP-1", kind.rise)
				for i := range w.coils {
					*w.coils[i].TemperatureCelsius = 21 + kind.room(i) + noise*w.random.NormFloat64()
				}
				r := analysed(t, w.coils, ordinary())
				cleared += count01(r.Advice.Act)
			}
			if cleared > 0 {
				t.Errorf("%s, probe scatter %.1f K: turns advised in %d of 30", name, noise, cleared)
			}
		}
	}
	cleared := 0
	for seed := range uint64(30) {
		w := newWorkshop(seed).wind(100, "SP-1", during(50, 100, 0.012))
		for i := range w.coils {
			*w.coils[i].TemperatureCelsius = 21 + 3*float64(i)/99 + 0.2*w.random.NormFloat64()
		}
		r := analysed(t, w.coils, ordinary())
		cleared += count01(r.Advice.Act)
	}
	if cleared < 25 {
		t.Errorf("a room that rose evenly beside a step is cleared in %d of 30 only", cleared)
	}
}

// A twentieth of a kelvin does not make a percent, however well it goes with the
// step; and where coils are numbered over several batches, the serial is told.
func TestStillRoomIsNotSuspected(t *testing.T) {
	coils := newWorkshop(3).wind(30, "SP-07", unmoved).wind(30, "SP-08", movedBy(0.015)).coils
	for i := range coils {
		celsius := 20.40 + 0.01*float64(i%2)
		if i >= 30 {
			celsius, coils[i].Batch = 20.45+0.01*float64(i%2), "spring-4"
		}
		coils[i].TemperatureCelsius = &celsius
	}
	r := analysed(t, coils, ordinary())
	contains(t, "summary", r.Summary, "From coil 31 (HN-0031), +1.", "at the change to spool SP-08",
		"the room hardly moved (0.1 K) and did not matter")
	contains(t, "temperature", r.Temperature.Sentence, "the temperature moved too little (0.06 K in all)")
	if !r.Advice.Act {
		t.Errorf("no turns are advised: %s", r.Advice.Sentence)
	}
}
