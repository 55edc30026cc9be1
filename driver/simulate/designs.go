package simulate

// ShopName is the invented workshop all of this plays in.
const ShopName = "Heron Lane"

// Design is what a coil of the workshop should be.
type Design struct {
	Name string
	// TargetOhms is the wanted resistance at 20 °C, TolerancePercent how far
	// from it a coil may be, either way.
	TargetOhms       float64
	TolerancePercent float64
	GaugeAWG         int
	Turns            int
	// The bobbin is a racetrack: two straights joined by half circles around a
	// core, with the winding built up on it.
	StraightMM   float64
	CoreRadiusMM float64
	BuildMM      float64
}

// Designs are those of the workshop; the names are invented.
//
// Each target is what copper makes of the turns, rounded to 10 Ω: the length of
// the wire is Turns · [2·StraightMM + 2π·(CoreRadiusMM + BuildMM/2)]; its bare
// diameter is 0.127 mm · 92^((36−AWG)/39) (ASTM B258); and its resistance
// is 0.017241 Ω·mm²/m times length over area (IEC 60028:1925). Stretch is left
// out.
func Designs() []Design {
	return []Design{
		{Name: "Lantern", TargetOhms: 5500, TolerancePercent: 4, GaugeAWG: 42, Turns: 7600, StraightMM: 52, CoreRadiusMM: 2.4, BuildMM: 4.2},
		{Name: "Millrace", TargetOhms: 6910, TolerancePercent: 4, GaugeAWG: 42, Turns: 8800, StraightMM: 57, CoreRadiusMM: 2.4, BuildMM: 4.6},
		{Name: "Saltmarsh", TargetOhms: 7320, TolerancePercent: 4, GaugeAWG: 43, Turns: 8100, StraightMM: 52, CoreRadiusMM: 2.4, BuildMM: 3.8},
		{Name: "Thistledown", TargetOhms: 8710, TolerancePercent: 4, GaugeAWG: 43, Turns: 9200, StraightMM: 57, CoreRadiusMM: 1.9, BuildMM: 3.6},
	}
}
