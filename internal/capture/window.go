package capture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Limits on what a steady window may look like. They are design choices of
// ours.
const (
	// spreadDigits is how many steps of the last digit a steady window spans.
	spreadDigits = 4
	// ordinarySpreadPercent is the same in percent of the reading, for fine
	// meters.
	ordinarySpreadPercent = 0.05
	// outlierScales is how many standard deviations off a reading is called an
	// outlier, where many readings tell the standard deviation.
	outlierScales = 5
	// outlierShare is the largest part of a window that may be left out.
	outlierShare = 0.2
	// robustFloorRatio keeps a quiet meter's smallest stir from being called an
	// outlier.
	robustFloorRatio = 1e-5
	// stepReadings in a row off the window mean that the value has moved.
	stepReadings = 3
)

// window is the latest readings, enough to judge whether they are steady.
type window struct {
	readings []driver.Reading
	outlier  []bool
	kept     int
	meanOhms float64
	// deviationOhms is the sample standard deviation of the kept readings.
	deviationOhms  float64
	resolutionOhms float64
	steady         bool
	// spread is true when all that keeps it from being steady is that the
	// readings spread too far.
	spread bool
	// why says what keeps the window from being steady.
	why string
}

// seconds is how long the window is.
func (w window) seconds() float64 {
	return w.readings[len(w.readings)-1].Time.Sub(w.readings[0].Time).Seconds()
}

// spoiledLast is true when the last reading alone is off the others.
func (w window) spoiledLast() bool {
	n := len(w.readings)
	return n > 1 && w.outlier[n-1] && w.kept == n-1
}

// latestWindow takes the fewest latest readings that are at least count and span
// at least length. Of a meter so slow that these take longer than twice the
// length, fewest readings over twice the length will do (0: they will not). ok
// is false while there are not enough of the want.
func latestWindow(readings []driver.Reading, count, fewest int, length time.Duration) (window []driver.Reading, want int, ok bool) {
	if len(readings) == 0 {
		return nil, count, false
	}
	last := readings[len(readings)-1].Time
	for from := len(readings) - 1; from >= 0; from-- {
		n, span := len(readings)-from, last.Sub(readings[from].Time)
		if n >= count && span >= length || fewest > 0 && n >= fewest && span >= 2*length {
			return readings[from:], n, true
		}
	}
	return nil, wantedReadings(readings, count, fewest, length), false
}

// wantedReadings is how many readings a window will hold, as far as they tell how fast
// they come.
func wantedReadings(readings []driver.Reading, count, fewest int, length time.Duration) int {
	if fewest == 0 || len(readings) < 2 {
		return count
	}
	span := readings[len(readings)-1].Time.Sub(readings[0].Time)
	apart := span / time.Duration(len(readings)-1)
	if apart <= 0 {
		return count
	}
	return min(count, max(fewest, int((2*length+apart-1)/apart)+1))
}

// spreadOhms is how far a steady window at a value may spread: some steps of
// the display, a part of the value, or what the meter's accuracy allows,
// whichever is most.
func (s Settings) spreadOhms(ohms, resolutionOhms float64) float64 {
	percent := s.SpreadPercent
	if percent == 0 {
		percent = ordinarySpreadPercent
	}
	return max(spreadDigits*resolutionOhms, percent/100*ohms, s.meterHalfWidth(ohms))
}

// judgeWindow finds outliers, mean, scatter and whether the window is steady.
// spreadOhms is how far one at a value and resolution may spread.
func judgeWindow(readings []driver.Reading, spreadOhms func(ohms, resolutionOhms float64) float64) window {
	w := window{readings: readings, outlier: make([]bool, len(readings))}
	values := make([]float64, len(readings))
	for i, r := range readings {
		values[i] = r.Value
		w.resolutionOhms = math.Max(w.resolutionOhms, r.Resolution)
	}
	middle := statistics.Median(values)
	limit := outlierLimit(len(values)) * robustScale(values, middle, w.resolutionOhms)
	kept := make([]float64, 0, len(values))
	for i, v := range values {
		w.outlier[i] = math.Abs(v-middle) > limit
		if !w.outlier[i] {
			kept = append(kept, v)
		}
	}
	w.kept = len(kept)
	w.meanOhms, w.deviationOhms = meanAndDeviation(kept)

	spread := slices.Max(kept) - slices.Min(kept)
	allowed := spreadOhms(w.meanOhms, w.resolutionOhms)
	switch {
	case float64(len(values)-len(kept)) > outlierShare*float64(len(values)):
		w.why = "the readings jump about; reseat the clips"
	case w.outlier[len(w.outlier)-1]:
		w.why = "the last reading jumped"
	case spread > allowed:
		w.spread = true
		w.why = fmt.Sprintf("the readings spread over %s, steady is %s; reseat the clips, keep hands and mains leads away",
			words.OhmsInPassing(spread), words.OhmsInPassing(allowed))
	default:
		w.steady = true
	}
	return w
}

// outlierLimit is how many robust standard deviations from the median one of n
// readings is called an outlier. The fewer there are, the more often their
// median absolute deviation is small by chance: at 5 alone one clean window of
// eight in twenty shows an outlier, with this one in two hundred (simulated).
func outlierLimit(n int) float64 { return outlierScales * (1 + 8/float64(n)) }

// robustScale is the standard deviation as the median absolute deviation
// estimates it (×1.4826 for a normal distribution), never below half a step
// of the display or robustFloorRatio, so that a quiet meter's next digit is no outlier.
func robustScale(values []float64, middle, resolutionOhms float64) float64 {
	deviations := make([]float64, len(values))
	for i, v := range values {
		deviations[i] = math.Abs(v - middle)
	}
	return max(1.4826*statistics.Median(deviations), resolutionOhms/2, robustFloorRatio*math.Abs(middle))
}

// neighbourScale is the standard deviation as the differences of neighbouring
// readings show it, so that a drift does not count: the median of |x−y| for two
// normal values is 0.954 standard deviations. The floor is that of robustScale.
func neighbourScale(readings []driver.Reading) float64 {
	differences := make([]float64, len(readings)-1)
	resolutionOhms := 0.0
	for i := range differences {
		differences[i] = math.Abs(readings[i+1].Value - readings[i].Value)
		resolutionOhms = math.Max(resolutionOhms, readings[i].Resolution)
	}
	return max(statistics.Median(differences)/0.954, resolutionOhms/2, robustFloorRatio*readings[0].Value)
}

// meanAndDeviation subtracts the first value before summing, so that a small
// scatter on a large value keeps its digits. The deviation of one value is 0.
// It adds up in another order than package statistics, and what was captured is
// to be replayed to the last digit.
func meanAndDeviation(values []float64) (mean, deviation float64) {
	n := float64(len(values))
	first := values[0]
	for _, v := range values {
		mean += (v - first) / n
	}
	var squares float64
	for _, v := range values {
		d := v - first - mean
		squares += d * d
	}
	if n > 1 {
		deviation = math.Sqrt(squares / (n - 1))
	}
	return first + mean, deviation
}
