package report

import (
	"fmt"
	"regexp"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// The sentences of a certificate.

const tableNote = "In bold the likely reading, beside it the limits a faultless meter stays within: " +
	"95 % confidence in the coil, and a volume control, turned fully up, of anything within ±20 % of its nominal value. " +
	"The meter's own error comes on top. The temperature is that of the copper, not of the room."

// decisionRule says in words how the verdict came about (JCGM 106:2012).
func decisionRule(m record.Measurement) string {
	t := m.Tolerance
	chance := fmt.Sprintf(" The probability that the coil is within tolerance is %s.", words.Chance(m.ConformityProbability))
	if t.GuardFactor == 0 {
		return "Simple acceptance (JCGM 106:2012, 8.2): the coil is in tolerance when R20 as measured lies within the limits, whatever its " +
			"uncertainty." + chance
	}
	guard := t.GuardFactor * m.ExpandedUncertaintyOhms
	return fmt.Sprintf("Guarded decision (JCGM 106:2012, 8.3) with a guard band of %g of the expanded uncertainty, here %s: in tolerance "+
		"when R20 lies inside both limits by at least that much, too high or too low when it lies outside by more than that, undecided between.",
		t.GuardFactor, words.OhmsToStep(guard, guard/20)) + chance
}

// explain says why a buyer's number may differ.
func explain(m record.Measurement, d *record.Design) []string {
	nothingElse := "Resistance says how much wire is on the coil and nothing else. Coils of equal resistance in different gauges carry very " +
		"different turns."
	if d != nil && d.GaugeAWG > 0 {
		nothingElse += fmt.Sprintf(" Compare this one with coils of %d AWG only.", d.GaugeAWG)
	}
	perKelvin := m.AlphaPerKelvin * m.R20Ohms // IEC 60028
	handheld := handheldHalfWidthOhms(m.R20Ohms)
	return []string{
		fmt.Sprintf("Temperature. Copper gains %.2f %% of its resistance at 20 °C for every kelvin, which is %s per kelvin for this coil. A "+
			"coil that was held in the hand, or came out of a cold parcel, reads wrong until it has taken on the temperature of the room; that "+
			"takes half an hour or more.",
			100*m.AlphaPerKelvin, words.OhmsToStep(perKelvin, perKelvin/50)),
		"What else is connected. A volume control across the coil takes its share of the meter's current and lowers the reading, the more " +
			"the smaller it is. Fingers across the tips of the probes do the same.",
		fmt.Sprintf("The meter. A hand-held meter of, for instance, ±(0.8 %% + 2 digits) may show this coil up to %s high or low and still "+
			"be good.",
			words.OhmsToStep(handheld, handheld/50)),
		nothingElse,
	}
}

// handheldHalfWidthOhms is how far a hand-held meter of ±(0.8 % + 2 digits) may be
// off, when it shows hundredths of the unit it would choose: 10 Ω from 2 kΩ up,
// 1 Ω from 200 Ω up, 0.1 Ω below (ranges of 2000 steps are common practice, no
// source).
func handheldHalfWidthOhms(ohms float64) float64 {
	digit := 0.1
	for digit*2000 < ohms {
		digit *= 10
	}
	return 0.008*ohms + 2*digit
}

// cautions says what to do before anybody measures: how not to get hurt, and how
// not to hurt the coil.
func cautions() []string {
	return []string{
		"Unplug the instrument from the amplifier first, and open nothing that is still plugged in. Valve amplifiers hold dangerous voltage " +
			"even when they are switched off and unplugged: leave anything inside one to a qualified person. Local codes and licensed practice " +
			"come before anything said here.",
		"Take at least one lead of the coil out of the circuit before measuring, or compare with the column of your control.",
		"Measure at the ends of the leads. Never touch the winding: the wire is finer than a hair, breaks without a mark, and springs into " +
			"eyes. Never scrape its ends.",
		"Wait until the reading stands still. The inductance of the coil makes some meters hunt at first.",
		"Use no insulation tester across the leads: its voltage can destroy the winding.",
	}
}

// called is what a paper calls an instrument: the port it is plugged into is nobody's
// name.
func called(label string) string {
	if label == "" || byPort.MatchString(label) {
		return "not named"
	}
	return label
}

// byPort is the label of an instrument that neither it nor anybody has named, as
// measurements have it from before instruments had names.
var byPort = regexp.MustCompile(`^(scpi|line|modbus) at .+$`)
