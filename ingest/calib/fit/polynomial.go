package fit

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A Polynomial is an ordinary least-squares fit of y on powers of x.
type Polynomial struct {
	Coefficients   []float64 // lowest power first
	StandardErrors []float64 // of the coefficients
	ResidualSD     float64   // NaN without degrees of freedom
	RSquared       float64
	DF             int

	centre, scale float64
	scaled        []float64
	covariance    *mat.Dense // of scaled, for a residual variance of 1
}

// FitPolynomial fits a polynomial to points. It needs more points than
// coefficients and as many different x as coefficients.
func FitPolynomial(x, y []float64, degree int) (Polynomial, error) {
	n, k := len(x), degree+1
	if n < k {
		return Polynomial{}, fmt.Errorf("%d readings for %d coefficients", n, k)
	}
	p := Polynomial{DF: n - k, centre: stat.Mean(x, nil)}
	for _, v := range x {
		p.scale = max(p.scale, math.Abs(v-p.centre))
	}
	if p.scale == 0 {
		return Polynomial{}, errors.New("all readings are the same")
	}
	a := mat.NewDense(n, k, nil)
	for i, v := range x {
		z := (v - p.centre) / p.scale
		for j, power := 0, 1.0; j < k; j, power = j+1, power*z {
			a.Set(i, j, power)
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); c > 1e12 {
		return Polynomial{}, errors.New("too few different readings for the model")
	}
	b := mat.NewVecDense(n, y)
	var c mat.VecDense
	if err := qr.SolveVecTo(&c, false, b); err != nil {
		return Polynomial{}, err
	}
	p.scaled = c.RawVector().Data

	var fitted mat.VecDense
	fitted.MulVec(a, &c)
	mean := stat.Mean(y, nil)
	sse, sst := 0.0, 0.0
	for i, v := range y {
		sse += (v - fitted.AtVec(i)) * (v - fitted.AtVec(i))
		sst += (v - mean) * (v - mean)
	}
	p.ResidualSD = math.Sqrt(sse / float64(p.DF))
	if p.DF == 0 {
		p.ResidualSD = math.NaN()
	}
	p.RSquared = 1 - sse/sst

	var r, inverse mat.Dense
	qr.RTo(&r)
	if err := inverse.Inverse(r.Slice(0, k, 0, k)); err != nil {
		return Polynomial{}, err
	}
	p.covariance = mat.NewDense(k, k, nil)
	p.covariance.Mul(&inverse, inverse.T())
	p.expand()
	return p, nil
}

// expand turns coefficients of ((x-centre)/scale)^j into those of x^i.
func (p *Polynomial) expand() {
	k := len(p.scaled)
	t := mat.NewDense(k, k, nil)
	for j := range k {
		binomial := 1.0
		for i := j; i >= 0; i-- {
			t.Set(i, j, binomial*math.Pow(-p.centre, float64(j-i))/math.Pow(p.scale, float64(j)))
			binomial = binomial * float64(i) / float64(j-i+1)
		}
	}
	var c mat.VecDense
	c.MulVec(t, mat.NewVecDense(k, p.scaled))
	p.Coefficients = c.RawVector().Data
	var v, cov mat.Dense
	v.Mul(t, p.covariance)
	cov.Mul(&v, t.T())
	p.StandardErrors = make([]float64, k)
	for i := range k {
		p.StandardErrors[i] = p.ResidualSD * math.Sqrt(cov.At(i, i))
	}
}

// SE returns the standard error of the fitted curve at x.
func (p *Polynomial) SE(x float64) float64 {
	k := len(p.scaled)
	z := mat.NewVecDense(k, nil)
	for j, power := 0, 1.0; j < k; j, power = j+1, power*(x-p.centre)/p.scale {
		z.SetVec(j, power)
	}
	return p.ResidualSD * math.Sqrt(mat.Inner(z, p.covariance, z))
}
