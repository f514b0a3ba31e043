package fit

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"

	"weald/ingest/calib/curve"
)

// fitPower fits y = a*(side*(x-x0))^b. The search is over x0 and b alone: a
// follows from them by least squares.
//
// Near is where to begin, if it is known; else the search begins in several
// places.
func fitPower(x, y []float64, near []float64) (fitted, error) {
	if len(x) < 4 {
		return fitted{}, errors.New("too few readings for three coefficients")
	}
	side := 1.0
	if stat.Correlation(x, y, nil) < 0 {
		side = -1
	}
	rest, span := math.Inf(1), 0.0
	for _, v := range x {
		rest = min(rest, side*v)
	}
	for _, v := range x {
		span = max(span, side*v-rest)
	}
	if span == 0 {
		return fitted{}, errors.New("all readings are the same")
	}
	// What is searched is made of numbers near 1.
	at := func(q []float64) (x0, b float64) { return side * (rest + q[0]*span), math.Exp(q[1]) }
	g := make([]float64, len(x))
	scaled := func(q []float64) (a, sse float64) {
		x0, b := at(q)
		num, den := 0.0, 0.0
		for i := range x {
			g[i] = power(side*(x[i]-x0), b)
			num, den = num+g[i]*y[i], den+g[i]*g[i]
		}
		a = num / den
		for i := range x {
			d := y[i] - a*g[i]
			sse += d * d
		}
		return a, sse
	}
	sse := func(q []float64) float64 {
		_, sum := scaled(q)
		if math.IsNaN(sum) || q[0] > 0.5 || math.Abs(q[1]) > 2.3 { // exponents from 0.1 to 10
			return math.Inf(1)
		}
		return sum
	}
	starts := [][]float64{near}
	if near == nil {
		starts = [][]float64{{-0.02, 0}, {-0.5, 0.7}, {0, -0.5}}
	}
	best, least := []float64(nil), math.Inf(1)
	for _, start := range starts {
		result, err := optimize.Minimize(optimize.Problem{Func: sse}, start,
			&optimize.Settings{MajorIterations: 200, Converger: &optimize.FunctionConverge{Relative: 1e-9, Iterations: 20}}, &optimize.NelderMead{})
		if err == nil && result.F < least {
			best, least = result.X, result.F
		}
	}
	if best == nil {
		return fitted{}, errors.New("no power law comes near the readings")
	}
	x0, b := at(best)
	a, _ := scaled(best)
	c, err := curve.New(curve.Power, x0, a, b, side)
	if err != nil {
		return fitted{}, err
	}
	sd := math.Sqrt(least / float64(len(x)-3))
	gradient := func(x float64) *mat.VecDense {
		d := side * (x - x0)
		if d <= 0 {
			return mat.NewVecDense(3, nil)
		}
		g := math.Pow(d, b)
		return mat.NewVecDense(3, []float64{-side * a * b * g / d * span, g * a, a * g * math.Log(d)})
	}
	j := mat.NewDense(len(x), 3, nil)
	for i, v := range x {
		j.SetRow(i, gradient(v).RawVector().Data)
	}
	var information, covariance mat.Dense
	information.Mul(j.T(), j)
	f := fitted{curve: c, sd: sd, near: best, se: func(float64) float64 { return sd / math.Sqrt(float64(len(x))) }}
	if err := covariance.Inverse(&information); err == nil {
		f.se = func(x float64) float64 {
			g := gradient(x)
			return sd * math.Sqrt(max(mat.Inner(g, &covariance, g), 0))
		}
		f.errors = []float64{
			sd * math.Sqrt(covariance.At(0, 0)) * span, sd * math.Sqrt(covariance.At(1, 1)) * math.Abs(a), sd * math.Sqrt(covariance.At(2, 2)), 0,
		}
	}
	return f, nil
}

func power(d, b float64) float64 {
	if d <= 0 {
		return 0
	}
	return math.Pow(d, b)
}
