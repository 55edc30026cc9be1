package pages

import (
	"html/template"
	"math"
	"net/url"
	"strings"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// recordWords are the template functions of the record pages.
func recordWords() template.FuncMap {
	return template.FuncMap{
		"at":                 pagePath,
		"measurementPath":    measurementPath,
		"estimate":           estimate,
		"budgetSource":       budgetSource,
		"budgetParts":        budgetParts,
		"budgetSentence":     budgetSentence,
		"perUnit":            perUnit,
		"field":              textField,
		"instrumentKey":      instrumentKey,
		"verdicts":           func() []conformity.Verdict { return allVerdicts },
		"spools":             spoolNames,
		"bar":                func(v, of float64) float64 { return math.Round(1000*v/of) / 10 },
		"fewChanged":         fewChanged,
		"coilPath":           coilPath,
		"older":              countOlderFormula,
		"since":              sinceField,
		"supersededBy":       supersededBy,
		"timeConstant":       workshop.TimeConstantWords,
		"reevaluatePath":     reevaluatePath,
		"copperAgainstProbe": copperAgainstProbe,
		"quickShare":         workshop.QuickShareWords,
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
		return words.KelvinWithin(c.Value, c.StandardUncertainty)
	}
	return words.AtMost(c.Value, 6) + " " + unit
}

// perUnit is the unit of a sensitivity of ohms to something in unit.
func perUnit(unit string) string {
	if after, inverse := strings.CutPrefix(unit, "1/"); inverse {
		return "Ω·" + after
	}
	return "Ω/" + unit
}

// spoolNames lists the spools of a batch in the order of their use.
func spoolNames(b record.Batch) string {
	names := make([]string, len(b.Spools))
	for i, mark := range b.Spools {
		names[i] = mark.Spool
	}
	return strings.Join(names, ", ")
}
