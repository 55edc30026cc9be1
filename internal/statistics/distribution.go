package statistics

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// NormalCDF is the share of the standard normal distribution below z.
func NormalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// NormalQuantile is the z below which the share p lies.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// StudentP is the probability of |t| or more by chance, of Student's t with df
// degrees of freedom. It keeps its relative precision however small it gets.
func StudentP(t, df float64) float64 {
	if math.IsInf(t, 0) {
		return 0
	}
	return mathext.RegIncBeta(df/2, 0.5, df/(df+t*t))
}

// StudentQuantile is the t below which the share p lies.
func StudentQuantile(p, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// HalfInterval is half the width of the two-sided confidence interval at level, 0
// to 1, of an estimate with a standard error of df degrees of freedom.
func HalfInterval(standardError, df, level float64) float64 {
	return StudentQuantile(0.5+level/2, df) * standardError
}

// FisherP is the probability of f or more by chance, of the F distribution.
func FisherP(f, df1, df2 float64) float64 {
	if f <= 0 {
		return 1
	}
	if math.IsInf(f, 1) {
		return 0
	}
	return mathext.RegIncBeta(df2/2, df1/2, df2/(df2+df1*f))
}

// ChiSquareP is the probability of x or more by chance, of chi squared.
func ChiSquareP(x, df float64) float64 {
	if x <= 0 {
		return 1
	}
	return mathext.GammaIncRegComp(df/2, x/2)
}

// ChiSquareQuantile is the value below which the share p lies.
func ChiSquareQuantile(p, df float64) float64 { return distuv.ChiSquared{K: df}.Quantile(p) }

// NoncentralTCDF is the share below t of (z + delta)/√(χ²/df), z standard
// normal. It integrates Φ(t·s − delta) over the distribution of s = √(χ²/df)
// (Johnson, Kotz and Balakrishnan 1995, Continuous Univariate Distributions 2,
// chapter 31).
func NoncentralTCDF(t, df, delta float64) float64 {
	lgamma, _ := math.Lgamma(df / 2)
	scale := math.Ln2 + df/2*math.Log(df/2) - lgamma
	density := func(s float64) float64 {
		return math.Exp(scale + (df-1)*math.Log(s) - df*s*s/2)
	}
	reach := 9 / math.Sqrt(2*df)
	from, to := math.Max(1e-12, 1-reach), 1+reach
	const nodes = 128
	return quad.Fixed(func(s float64) float64 { return NormalCDF(t*s-delta) * density(s) }, from, to, nodes, quad.Legendre{}, 0)
}

// NoncentralTDelta is the delta for which the share p lies below t.
func NoncentralTDelta(t, df, p float64) float64 {
	// The share falls as delta grows, by a normal of about this width.
	width := 8 * math.Sqrt(1+t*t/(2*df))
	low, high := t-width, t+width
	for high-low > 1e-10*(1+math.Abs(t)) {
		middle := low + (high-low)/2
		if NoncentralTCDF(t, df, middle) > p {
			low = middle
		} else {
			high = middle
		}
	}
	return low + (high-low)/2
}

// ProportionInterval is the Clopper-Pearson interval of a share of which count
// of n were seen, at the confidence level: never narrower than it claims
// (Clopper and Pearson 1934, Biometrika 26, 404-413).
func ProportionInterval(count, n int, level float64) (low, high float64) {
	tail := (1 - level) / 2
	k, m := float64(count), float64(n)
	high = 1
	if count > 0 {
		low = mathext.InvRegIncBeta(k, m-k+1, tail)
	}
	if count < n {
		high = mathext.InvRegIncBeta(k+1, m-k, 1-tail)
	}
	return low, high
}
