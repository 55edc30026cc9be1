package copper

import (
	"fmt"
	"math"
)

// resistivityOhmMM2PerM is that of copper of 100 % conductivity at 20 °C: 1/58,
// 0.017241 Ω·mm²/m (IEC 60028).
const resistivityOhmMM2PerM = 1.0 / 58

// metricConductivityRatio is the conductivity behind the nominal resistances of
// metric winding wire, 58.5 MS/m (IEC 60317 tables), over the standard's.
const metricConductivityRatio = 58.5 / 58

// The gauges taken: below MinGauge is no wire for a sensing coil, above
// MaxGauge it is thinner than 0.025 mm.
const (
	MinGauge = 30
	MaxGauge = 50
)

// Metric wire is taken from MinDiameterMM to MaxDiameterMM, bare.
const (
	MinDiameterMM = 0.02
	MaxDiameterMM = 0.30
)

const mmPerMil = 0.0254

// Wire is bare round copper wire: a diameter and a conductivity. Enamel does
// not conduct and does not count. Make one with [GeometricAWG], [RoundedAWG] or
// [MetricWire]; the zero Wire has no use.
type Wire struct {
	name              string
	diameterMM        float64
	conductivityRatio float64
	limits            *limits
}

// limits are the least and the greatest resistance a standard allows.
type limits struct{ minOhmsPerMetre, maxOhmsPerMetre float64 }

// GeometricAWG returns wire of the diameter that defines the American wire
// gauge, d = 0.127 mm · 92^((36−n)/39) (ASTM B258), at 100 % conductivity.
//
// Tables of magnet wire round these diameters and are another family: see
// [RoundedAWG]. The two differ by 0.5 % in resistance at 42 AWG and by 1.9 % at
// 43 AWG, so a computation stays within one.
func GeometricAWG(gauge int) (Wire, error) {
	if err := checkGauge(gauge); err != nil {
		return Wire{}, err
	}
	return Wire{
		name:              fmt.Sprintf("%d AWG, geometric diameter", gauge),
		diameterMM:        geometricDiameterMil(gauge) * mmPerMil,
		conductivityRatio: 1,
	}, nil
}

// RoundedAWG returns wire of the nominal diameter magnet-wire tables list for a
// gauge (NEMA MW 1000, after ASTM B258), at 100 % conductivity: the geometric
// diameter rounded to 0.1 mil, from 45 AWG on to 0.01 mil. The rule is
// from memory; it gives every diameter of the tables read, 34 to 46 AWG.
//
// From 34 AWG on the wire knows its resistance limits: diameter ±0.1 mil as far
// as 44 AWG (printed for 34 and 36 AWG, and the greatest resistance for 38, 40,
// 42 and 44), ±8 % of the nominal resistance beyond (the greatest printed for
// 46; the least by symmetry).
func RoundedAWG(gauge int) (Wire, error) {
	if err := checkGauge(gauge); err != nil {
		return Wire{}, err
	}
	const lastCoarse, firstWithLimits, toleranceMil = 44, 34, 0.1
	stepsPerMil := 10.0
	if gauge > lastCoarse {
		stepsPerMil = 100
	}
	mil := math.Round(geometricDiameterMil(gauge)*stepsPerMil) / stepsPerMil
	w := Wire{
		name:              fmt.Sprintf("%d AWG, rounded diameter", gauge),
		diameterMM:        mil * mmPerMil,
		conductivityRatio: 1,
	}
	switch {
	case gauge > lastCoarse:
		w.limits = w.limitsWithin(0.08)
	case gauge >= firstWithLimits:
		w.limits = &limits{
			minOhmsPerMetre: ohmsPerMetre((mil+toleranceMil)*mmPerMil, 1),
			maxOhmsPerMetre: ohmsPerMetre((mil-toleranceMil)*mmPerMil, 1),
		}
	}
	return w, nil
}

// MetricWire returns wire of a bare nominal diameter in millimetres at 58.5
// MS/m, the conductivity behind the nominal resistances of IEC 60317. The wire
// knows its resistance limits for the nominal diameters of the table read: ±9 %
// at 0.050 and 0.056 mm, ±8 % at 0.060 and 0.063 mm; at 0.071, 0.080 and
// 0.100 mm a diameter 0.003 mm larger at 59 MS/m and 0.003 mm smaller at 58 MS/m.
func MetricWire(nominalMM float64) (Wire, error) {
	if !(nominalMM >= MinDiameterMM && nominalMM <= MaxDiameterMM) {
		return Wire{}, fmt.Errorf("wire diameter %g mm: %w; give the bare diameter, %g to %g mm", nominalMM, ErrRange, MinDiameterMM,
			MaxDiameterMM)
	}
	w := Wire{
		name:              fmt.Sprintf("%.3f mm, metric", nominalMM),
		diameterMM:        nominalMM,
		conductivityRatio: metricConductivityRatio,
	}
	switch nominalMM {
	case 0.050, 0.056:
		w.limits = w.limitsWithin(0.09)
	case 0.060, 0.063:
		w.limits = w.limitsWithin(0.08)
	case 0.071, 0.080, 0.100:
		const toleranceMM = 0.003
		w.limits = &limits{
			minOhmsPerMetre: ohmsPerMetre(nominalMM+toleranceMM, 59.0/58),
			maxOhmsPerMetre: ohmsPerMetre(nominalMM-toleranceMM, 1),
		}
	}
	return w, nil
}

// WithConductivity returns the same wire of another conductivity, as a ratio to
// the standard's: 0.98 for 98 %. Limits a standard sets stay as they are.
func (w Wire) WithConductivity(ratio float64) (Wire, error) {
	if _, err := Alpha20Of(ratio); err != nil {
		return Wire{}, err
	}
	w.conductivityRatio = ratio
	return w, nil
}

// String names the gauge and the family of its diameter.
func (w Wire) String() string { return w.name }

// DiameterMM is the nominal bare diameter in millimetres.
func (w Wire) DiameterMM() float64 { return w.diameterMM }

// ConductivityRatio is the conductivity over that of the standard.
func (w Wire) ConductivityRatio() float64 { return w.conductivityRatio }

// OhmsPerMetre is the nominal resistance of one metre at 20 °C: resistivity
// over cross-section.
func (w Wire) OhmsPerMetre() float64 { return ohmsPerMetre(w.diameterMM, w.conductivityRatio) }

// OhmsPerMetreLimits returns the least and the greatest resistance of one metre
// at 20 °C that the standard for the wire allows; ok is false when none is
// known. The spread is far wider than that of a winder, so two spools may
// differ by several percent and both be good.
func (w Wire) OhmsPerMetreLimits() (least, greatest float64, ok bool) {
	if w.limits == nil {
		return 0, 0, false
	}
	return w.limits.minOhmsPerMetre, w.limits.maxOhmsPerMetre, true
}

// R20 returns the resistance at 20 °C, in ohms, of a length in metres.
func (w Wire) R20(lengthMetres float64) (float64, error) {
	if !(lengthMetres > 0) || math.IsInf(lengthMetres, 0) {
		return 0, fmt.Errorf("wire length %g m: %w; a length is a positive number", lengthMetres, ErrRange)
	}
	return lengthMetres * w.OhmsPerMetre(), nil
}

// LengthMetres returns the length of wire that has r20Ohms at 20 °C.
func (w Wire) LengthMetres(r20Ohms float64) (float64, error) {
	if err := checkOhms(r20Ohms); err != nil {
		return 0, err
	}
	return r20Ohms / w.OhmsPerMetre(), nil
}

func (w Wire) limitsWithin(ratio float64) *limits {
	return &limits{
		minOhmsPerMetre: w.OhmsPerMetre() * (1 - ratio),
		maxOhmsPerMetre: w.OhmsPerMetre() * (1 + ratio),
	}
}

func ohmsPerMetre(diameterMM, conductivityRatio float64) float64 {
	return resistivityOhmMM2PerM / conductivityRatio / (math.Pi / 4 * diameterMM * diameterMM)
}

// geometricDiameterMil is 5 mil at 36 AWG and 460 mil at 0000, with 39 equal
// ratios between (ASTM B258).
func geometricDiameterMil(gauge int) float64 {
	return 5 * math.Pow(92, float64(36-gauge)/39)
}

func checkGauge(gauge int) error {
	if gauge < MinGauge || gauge > MaxGauge {
		return fmt.Errorf("%d AWG: %w; gauges are taken from %d to %d", gauge, ErrRange, MinGauge, MaxGauge)
	}
	return nil
}
