package web

import (
	"fmt"
	"html/template"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/quantity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
)

// recordWords are the template functions of the record pages.
func recordWords() template.FuncMap {
	return template.FuncMap{
		"at":                 pagePath,
		"measurementPath":    measurementPath,
		"off":                percentOffTarget,
		"percent":            percent,
		"chance":             chance,
		"conforms":           quantity.FormatChance,
		"estimate":           estimate,
		"budgetSource":       budgetSource,
		"digits":             significant,
		"tidy":               tidy,
		"perUnit":            perUnit,
		"spread":             spread,
		"roughly":            roughly,
		"number":             number,
		"round":              func(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) },
		"field":              textField,
		"deviation":          deviationWords,
		"instrumentKey":      instrumentKey,
		"localDay":           localDay,
		"verdicts":           func() []conformity.Verdict { return allVerdicts },
		"spools":             spoolNames,
		"withinPercent":      withinPercent,
		"signed":             signedPercent,
		"signedKelvin":       func(v float64) string { return minus(fmt.Sprintf("%+.1f K", v)) },
		"bar":                func(v, of float64) float64 { return math.Round(1000*v/of) / 10 },
		"fewChanged":         fewChanged,
		"coilPath":           coilPath,
		"older":              countOlderFormula,
		"since":              sinceField,
		"supersededBy":       supersededBy,
		"timeConstant":       timeConstantWords,
		"reevaluatePath":     reevaluatePath,
		"copperAgainstProbe": copperAgainstProbe,
		"quickShare":         quickShareWords,
		"minutesWithin":      minutesWithin,
		"next":               func(n int) int { return n + 1 },
	}
}

// allVerdicts in the order they are counted in.
var allVerdicts = []conformity.Verdict{conformity.In, conformity.High, conformity.Low, conformity.Undecided}

// pagePath is the path of a page: each part is one step, whatever is in it.
func pagePath(parts ...string) string {
	var b strings.Builder
	for _, part := range parts {
		b.WriteString("/" + url.PathEscape(part))
	}
	return b.String()
}

// percentOffTarget says how far ohms is from target, in percent of the target; "" without
// one.
func percentOffTarget(ohms, target float64) string {
	if target <= 0 {
		return ""
	}
	return signedPercent((ohms/target - 1) * 100)
}

// budgetSource names a component of a budget, and says where nobody measured it.
func budgetSource(c uncertainty.Component) string {
	if unmeasured(c) {
		return c.Source + ", not measured"
	}
	return c.Source
}

// unmeasured is true for leads that count as nothing because nothing is known of
// them.
func unmeasured(c uncertainty.Component) bool {
	return c.Source == r20.LeadSource && c.Value == 0 && c.StandardUncertainty == 0
}

// estimate shows the value a component of a budget belongs to. Differences and
// uncertainties of temperature are in kelvin, the temperature itself is not.
func estimate(c uncertainty.Component) string {
	if unmeasured(c) {
		return "none"
	}
	unit := c.Unit
	if c.Source == r20.ProbeSource {
		unit = "°C"
	}
	if c.Source == r20.CopperSource { // no finer than it is known
		return quantity.FormatKelvin(c.Value, c.StandardUncertainty)
	}
	return tidy(c.Value, 6) + " " + unit
}

// percent shows a ratio with as many digits as say something.
func percent(ratio float64) string {
	if ratio > 0 && ratio < 0.0001 {
		return "< 0.01 %"
	}
	if ratio != 0 && math.Abs(ratio) < 0.01 {
		return significant(ratio*100, 2) + " %"
	}
	return fmt.Sprintf("%.0f %%", ratio*100)
}

// spread shows a width such as a standard deviation or an uncertainty, always
// in ohms, with two significant digits.
func spread(ohms float64) string {
	if ohms >= 100 {
		return strconv.FormatFloat(ohms, 'f', 0, 64) + " Ω"
	}
	return significant(ohms, 2) + " Ω"
}

// tidy shows v with at most so many significant digits.
func tidy(v float64, digits int) string {
	text := significant(v, digits)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// perUnit is the unit of a sensitivity of ohms to something in unit.
func perUnit(unit string) string {
	if after, inverse := strings.CutPrefix(unit, "1/"); inverse {
		return "Ω·" + after
	}
	return "Ω/" + unit
}

// roughly shows a resistance that is known to a percent or so.
func roughly(ohms float64) string {
	return quantity.FormatOhms(ohms, math.Pow(10, math.Floor(math.Log10(ohms))-2))
}

// number shows a number as it would be typed.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// localDay is the day of t for a person, in the daemon's time zone.
func localDay(t time.Time) string { return t.Local().Format(time.DateOnly) }

// spoolNames lists the spools of a batch in the order of their use.
func spoolNames(b record.Batch) string {
	names := make([]string, len(b.Spools))
	for i, mark := range b.Spools {
		names[i] = mark.Spool
	}
	return strings.Join(names, ", ")
}
