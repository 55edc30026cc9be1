package drift

import (
	"math"

	"coilkeep/internal/statistics"
)

// levelSplit cuts values in two levels: the second begins at k. p allows for the
// place having been searched for.
type levelSplit struct {
	k          int
	shift      float64
	error      float64
	residualSD float64
	p          float64
}

// bestSplit finds the split of values i to j by least squares, where a recorded place
// is preferred to one that was searched for; ok is false when there are too few
// values.
func (s *segmenter) bestSplit(i, j int) (levelSplit, bool) {
	n := j - i
	bestK, least := 0, math.Inf(1)
	for k := i + minPiece; k <= j-s.fewestFrom(k, j); k++ {
		if c := s.costOfSplit(i, k, j); c < least {
			bestK, least = k, c
		}
	}
	if bestK == 0 {
		return levelSplit{}, false
	}
	// A jump among the last coils leaves too few of them for a level. The best split
	// then has one coil more in the new level: it is told at the wrong coil, and too
	// small.
	last := j - s.fewestFrom(bestK, j)
	for k := last + 1; k < j && bestK == last; k++ {
		if s.costOfSplit(i, k, j) < least {
			return levelSplit{}, false
		}
	}
	x := s.splitAt(i, bestK, j)
	z := 0.0
	if x.error > 0 {
		z = statistics.NormalEquivalent(x.shift/x.error, float64(n-2))
	} else if x.shift != 0 {
		z = 37
	}
	searched := statistics.AnyChangeP(z, min(0.49, float64(minPiece)/float64(n)))
	if s.recorded[bestK] {
		searched = min(searched, x.p*s.placesSearched(bestK, n))
	}
	x.p = searched
	return x, true
}

func (s *segmenter) costOfSplit(i, k, j int) float64 {
	return (s.rssAboutMean(i, k)+s.rssAboutMean(k, j))/s.variance + s.placePrice(k)
}

// splitAt measures the split at a place given beforehand, by the ordinary test.
func (s *segmenter) splitAt(i, k, j int) levelSplit {
	n := j - i
	rss := s.exactRSSAboutMean(i, k) + s.exactRSSAboutMean(k, j)
	x := levelSplit{k: k, shift: s.meanOf(k, j) - s.meanOf(i, k), residualSD: s.widening * math.Sqrt(rss/float64(n-2))}
	x.error = x.residualSD * math.Sqrt(1/(s.w0[k]-s.w0[i])+1/(s.w0[j]-s.w0[k]))
	// What float64 cannot hold apart is no shift.
	if math.Abs(x.shift) < 1e-12*math.Sqrt(s.wyy[len(s.y)]) {
		x.shift = 0
	}
	x.p = statistics.TestP(x.shift, x.error, float64(n-2))
	return x
}

// exactRSSAboutMean is rssAboutMean in two passes, which loses no digits.
func (s *segmenter) exactRSSAboutMean(i, j int) float64 {
	return s.pieceRSS(piece{first: i, last: j, level: s.meanOf(i, j)})
}
