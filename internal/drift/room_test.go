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
