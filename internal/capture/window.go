package capture

import (
	"math"
	"slices"
	"time"

	"coilkeep/driver"
)

// Limits on what a steady window may look like. They are design choices of
// ours; the largest of the three spreads applies.
const (
	// spreadDigits is how many steps of the last digit a steady window spans.
	spreadDigits = 4
	// spreadRatio is the same as a part of the reading, for fine meters.
	spreadRatio = 0.0005
	// outlierScales is how many robust standard deviations from the median a
	// reading is called an outlier.
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
	deviationOhms float64
	resolution    float64
	steady        bool
	// why says what keeps the window from being steady.
	why string
}

// seconds is how long the window is.
func (w window) seconds() float64 {
	return w.readings[len(w.readings)-1].Time.Sub(w.readings[0].Time).Seconds()
}

// latestWindow takes the fewest latest readings that are at least count and
// span at least length. ok is false while there are not enough.
func latestWindow(readings []driver.Reading, count int, length time.Duration) ([]driver.Reading, bool) {
	if len(readings) < count {
		return nil, false
	}
	from := len(readings) - count
	last := readings[len(readings)-1].Time
	for from > 0 && last.Sub(readings[from].Time) < length {
		from--
	}
	return readings[from:], last.Sub(readings[from].Time) >= length
}

// judgeWindow finds outliers, mean, scatter and whether the window is steady.
// accuracyOhms is the half-width of the meter's limits of error at the mean.
func judgeWindow(readings []driver.Reading, accuracy func(ohms float64) float64) window {
	w := window{readings: readings, outlier: make([]bool, len(readings))}
	values := make([]float64, len(readings))
	for i, r := range readings {
		values[i] = r.Value
		w.resolution = math.Max(w.resolution, r.Resolution)
	}
	middle := median(values)
	limit := outlierScales * robustScale(values, middle, w.resolution)
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
	allowed := math.Max(math.Max(spreadDigits*w.resolution, spreadRatio*w.meanOhms), accuracy(w.meanOhms))
	switch {
	case float64(len(values)-len(kept)) > outlierShare*float64(len(values)):
		w.why = "the readings jump about; reseat the clips"
	case w.outlier[len(w.outlier)-1]:
		w.why = "the last reading jumped"
	case spread > allowed:
		w.why = "the readings scatter by " + ohmsText(spread) + "; reseat the clips"
	default:
		w.steady = true
	}
	return w
}

// robustScale is the standard deviation as the median absolute deviation
// estimates it (×1.4826 for a normal distribution), never below half a step
// of the display or robustFloorRatio, so that a quiet meter's next digit is no outlier.
func robustScale(values []float64, middle, resolution float64) float64 {
	deviations := make([]float64, len(values))
	for i, v := range values {
		deviations[i] = math.Abs(v - middle)
	}
	return max(1.4826*median(deviations), resolution/2, robustFloorRatio*math.Abs(middle))
}

// neighbourScale is the standard deviation as the differences of neighbouring
// readings show it, so that a drift does not count: the median of |x−y| for two
// normal values is 0.954 standard deviations. The floor is that of robustScale.
func neighbourScale(readings []driver.Reading) float64 {
	differences := make([]float64, len(readings)-1)
	resolution := 0.0
	for i := range differences {
		differences[i] = math.Abs(readings[i+1].Value - readings[i].Value)
		resolution = math.Max(resolution, readings[i].Resolution)
	}
	return max(median(differences)/0.954, resolution/2, robustFloorRatio*readings[0].Value)
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}

// meanAndDeviation subtracts the first value before summing, so that a small
// scatter on a large value keeps its digits. The deviation of one value is 0.
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
