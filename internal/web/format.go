package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
)

// How the page says things. The script of the page formats live readings the
// same way; see live.js.

// liveOhms shows a reading with five significant digits; a reading has no
// uncertainty of its own.
func liveOhms(ohms float64) string {
	if ohms < 1000 {
		return significant(ohms, 5) + " Ω"
	}
	if ohms < 1e6 {
		return significant(ohms/1e3, 5) + " kΩ"
	}
	return significant(ohms/1e6, 5) + " MΩ"
}

// significant shows v with that many significant digits, without exponent.
func significant(v float64, digits int) string {
	before := 1
	if v != 0 {
		before = int(math.Floor(math.Log10(math.Abs(v)))) + 1
	}
	return minus(strconv.FormatFloat(v, 'f', max(0, digits-before), 64))
}

// minus sets a number as it is printed, not as it is typed.
func minus(number string) string { return strings.Replace(number, "-", "−", 1) }

// ohmsPieces takes apart how R20 and its uncertainty are shown, so that a page
// can set the value larger than the rest.
func ohmsPieces(ohms, expanded float64) (pieces struct{ Value, Within, Unit string }) {
	parts := strings.Fields(quantity.FormatOhmsWithin(ohms, expanded))
	pieces.Value, pieces.Unit = parts[0], parts[len(parts)-1]
	if len(parts) > 2 {
		pieces.Within = parts[2]
	}
	return pieces
}

// plainOhms shows a value that was written down, such as a target.
func plainOhms(ohms float64) string { return quantity.FormatOhms(ohms, 0) }

// smallOhms shows a spread with two significant digits.
func smallOhms(ohms float64) string { return significant(ohms, 2) + " Ω" }

func celsius(t float64) string { return minus(strconv.FormatFloat(t, 'f', 2, 64)) + " °C" }

// deviation says how far ohms is from target.
func deviation(ohms, target float64) string {
	return signedPercent((ohms/target-1)*100) + " from target"
}

// signedPercent shows how far something is off; nothing is off by minus zero.
func signedPercent(percent float64) string {
	if math.Abs(percent) < 0.005 {
		percent = 0
	}
	return minus(fmt.Sprintf("%+.2f %%", percent))
}

// verdictWords says a verdict; it never stands for its colour alone.
func verdictWords(v conformity.Verdict) string {
	switch v {
	case conformity.In:
		return "in tolerance"
	case conformity.High:
		return "too high"
	case conformity.Low:
		return "too low"
	case conformity.Undecided:
		return "undecided"
	}
	return "not judged"
}

// statusWords says a measurement's status where it is not the ordinary one.
func statusWords(s record.Status) string {
	switch s {
	case record.Forced:
		return "forced"
	case record.Manual:
		return "typed in"
	case record.Void:
		return "void"
	case record.Superseded:
		return "replaced"
	}
	return ""
}

// machineTime is t for a program to read.
func machineTime(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// localTime is t for a person, in the daemon's time zone; the page's script
// shows it in the reader's own.
func localTime(t time.Time) string { return t.Local().Format("2006-01-02 15:04:05") }
