package words

import (
	"fmt"
	"math"
)

// PercentSigned writes by what share something is off, with so many decimals of a
// percent: 0.012 to 2 is "+1.20 %", −0.05 to 1 "−5.0 %".
func PercentSigned(ratio float64, decimals int) string { return Signed(100*ratio, decimals) + " %" }

// PercentOff writes how far a value is from a reference, in percent of the
// reference: "+0.42 %"; "" without a reference.
func PercentOff(value, reference float64) string {
	if reference <= 0 {
		return ""
	}
	return PercentSigned(value/reference-1, 2)
}

// PercentWithin writes a relative uncertainty in percent to two significant digits:
// "± 0.27 %".
func PercentWithin(percent float64) string { return "± " + Significant(percent, 2) + " %" }

// Percent writes a share in percent: whole from 1 % on, two significant digits
// below, "< 0.01 %" for what is less than that.
func Percent(ratio float64) string {
	if ratio > 0 && ratio < 0.0001 {
		return "< 0.01 %"
	}
	if ratio != 0 && math.Abs(ratio) < 0.01 {
		return Significant(ratio*100, 2) + " %"
	}
	return Fixed(100*ratio, 0) + " %"
}

// PercentApart writes how far the two of a pair are from each other, whichever is
// the greater: "0.24 %", "under 0.01 %".
func PercentApart(ratio float64) string {
	percent := 100 * math.Abs(ratio)
	if percent < 0.005 {
		return "under 0.01 %"
	}
	return Fixed(percent, 2) + " %"
}

// Chance writes a probability to a tenth of a percent, and never rounds doubt
// away: "97.5 %", "more than 99.9 %".
func Chance(probability float64) string {
	switch {
	case probability > 0.999:
		return "more than 99.9 %"
	case probability < 0.001:
		return "less than 0.1 %"
	}
	return Fixed(100*probability, 1) + " %"
}

// ChanceWhole writes a probability in whole percent, for a column, and never rounds
// doubt away: "97 %", "> 99 %".
func ChanceWhole(probability float64) string {
	switch {
	case probability > 0.995:
		return "> 99 %"
	case probability < 0.005:
		return "< 1 %"
	}
	return Fixed(100*probability, 0) + " %"
}

// ChanceInWords says how probable something is, from "very likely" at 0.9 to "very
// unlikely" below 0.01.
func ChanceInWords(probability float64) string {
	switch {
	case probability >= 0.9:
		return "very likely"
	case probability >= 0.5:
		return "likely"
	case probability >= 0.2:
		return "possible"
	case probability >= 0.05:
		return "less likely"
	case probability >= 0.01:
		return "unlikely"
	}
	return "very unlikely"
}

// ShareOutside writes what part of many coils is outside: "2.5 %", "120 in a
// million" below 0.1 %, "under 1 in a million".
func ShareOutside(ratio float64) string {
	switch {
	case ratio == 0:
		return "0 %"
	case ratio < 1e-6:
		return "under 1 in a million"
	case ratio < 0.001:
		return Fixed(1e6*ratio, 0) + " in a million"
	}
	return Fixed(100*ratio, 1) + " %"
}

// PValue writes the probability of a test: "p = 0.032", "p < 0.0001".
func PValue(p float64) string {
	if p < 0.0001 {
		return "p < 0.0001"
	}
	return fmt.Sprintf("p = %.2g", p)
}

// PercentRoughly writes a percentage to at most two significant digits: "4 %",
// "0.27 %".
func PercentRoughly(percent float64) string { return AtMost(percent, 2) + " %" }
