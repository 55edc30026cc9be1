package pages

import (
	"cmp"
	"strings"

	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// budgetPart is a stretch of the bar that shows what an uncertainty is made of.
type budgetPart struct {
	// Words name the source as people at the bench do, Alone says what U would be by
	// this source alone, in percent of R20.
	Words, Alone string
	// FromPercent and WidthPercent are where it lies on the bar: its share of the
	// variance, for squares add up and widths do not.
	FromPercent, WidthPercent float64
}

// leastShown is the least share of the variance that has a stretch of its own.
const leastShown = 0.01

// budgetParts are the stretches of a measurement's bar, the largest first; none without
// a budget.
func budgetParts(m record.Measurement) []budgetPart {
	var parts []budgetPart
	from := 0.0
	for _, c := range m.Budget {
		if c.Share < leastShown {
			continue
		}
		parts = append(parts, budgetPart{Words: sourceInWords(c.Source), FromPercent: 100 * from, WidthPercent: 100 * c.Share,
			Alone: words.PercentRoughly(100 * m.CoverageFactor * c.ContributionOhms / m.R20Ohms)})
		from += c.Share
	}
	return parts
}

// sourceInWords names a source of uncertainty without the terms of a budget.
func sourceInWords(source string) string {
	return cmp.Or(map[string]string{
		r20.CopperSource:                      "how warm the copper was",
		"coil against probe":                  "how warm the copper was",
		r20.ProbeSource:                       "the probe",
		"meter accuracy":                      "the meter",
		r20.LeadSource:                        "the leads",
		"repeatability of the readings":       "scatter of the readings",
		"drift during the window":             "how it drifted",
		"temperature coefficient of the wire": "what the wire does with temperature",
		r20.ToldSource:                        "told as a whole",
	}[source], source)
}

// budgetSentence says the bar: "how warm the copper was 0.25 %, the probe 0.12 %".
func budgetSentence(parts []budgetPart) string {
	said := make([]string, len(parts))
	for i, p := range parts {
		said[i] = p.Words + " " + p.Alone
	}
	return strings.Join(said, ", ")
}
