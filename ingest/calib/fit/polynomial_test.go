package fit

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"weald/ingest/recorded"
)

// digits is how many decimal digits of got agree with the certified value (the
// logarithm of the relative error, as the reference sets are usually judged).
func digits(got, want float64) float64 {
	if got == want {
		return 15
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

func certified(t *testing.T, what string, got, want float64) {
	t.Helper()
	if d := digits(got, want); !(d >= 9) {
		t.Errorf("%s is %.16g, certified %.16g: %.1f digits", what, got, want, d)
	}
}

// NIST StRD, linear regression: Norris and Pontius with their certified values.
const norris = `0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5
0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2`

const pontius = `.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146 1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844 .11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150 1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829`

func numbers(t *testing.T, text string) (out []float64) {
	t.Helper()
	for _, f := range strings.Fields(text) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

func norrisData(t *testing.T) (x, y []float64) {
	lines := strings.Split(norris, "\n")
	return numbers(t, lines[0]), numbers(t, lines[1])
}

func pontiusData(t *testing.T) (x, y []float64) {
	y = numbers(t, pontius)
	for i := range y {
		x = append(x, 150000*float64(i%20+1))
	}
	return x, y
}

func TestNorris(t *testing.T) {
	x, y := norrisData(t)
	p, err := FitPolynomial(x, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	certified(t, "B0", p.Coefficients[0], -0.262323073774029)
	certified(t, "B1", p.Coefficients[1], 1.00211681802045)
	certified(t, "sd of B0", p.StandardErrors[0], 0.232818234301152)
	certified(t, "sd of B1", p.StandardErrors[1], 0.429796848199937e-03)
	certified(t, "residual sd", p.ResidualSD, 0.884796396144373)
	certified(t, "R squared", p.RSquared, 0.999993745883712)
}

var pontiusCertified = [3]float64{0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14}

// From raw x, up to 3e6.
func TestPontius(t *testing.T) {
	x, y := pontiusData(t)
	p, err := FitPolynomial(x, y, 2)
	if err != nil {
		t.Fatal(err)
	}
	for i, sd := range []float64{0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16} {
		certified(t, "B"+strconv.Itoa(i), p.Coefficients[i], pontiusCertified[i])
		certified(t, "sd of B"+strconv.Itoa(i), p.StandardErrors[i], sd)
	}
	certified(t, "residual sd", p.ResidualSD, 0.205177424076185e-03)
	certified(t, "R squared", p.RSquared, 0.999999900178537)
}

// The same check fails for naive sums of squares in raw x: it can fail.
func TestNaiveSumsOfSquaresFail(t *testing.T) {
	x, y := pontiusData(t)
	var a [3][4]float64
	for i := range x {
		powers := [3]float64{1, x[i], x[i] * x[i]}
		for r := range 3 {
			for c := range 3 {
				a[r][c] += powers[r] * powers[c]
			}
			a[r][3] += powers[r] * y[i]
		}
	}
	a0 := [3]float64{a[0][3], a[1][3], a[2][3]}
	for i := range 3 { // elimination
		for r := i + 1; r < 3; r++ {
			f := a[r][i] / a[i][i]
			for c := i; c < 4; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	var b [3]float64
	for i := 2; i >= 0; i-- {
		b[i] = a[i][3]
		for c := i + 1; c < 3; c++ {
			b[i] -= a[i][c] * b[c]
		}
		b[i] /= a[i][i]
	}
	// The residual sum of squares as a difference of sums of squares, which is
	// how one comes by it without going through the data again.
	sse := 0.0
	for _, v := range y {
		sse += v * v
	}
	for i := range b {
		sse -= b[i] * a0[i]
	}
	d := digits(math.Sqrt(max(sse, 0)/37), 0.205177424076185e-03)
	if d >= 9 {
		t.Errorf("naive sums of squares have %.1f digits: the check shows nothing", d)
	}
	t.Logf("naive sums of squares: %.1f digits", d)
}

// e-Handbook 4.6.1, the load-cell case: a straight line through the same data,
// and the lack-of-fit test against the pure error of the repeats.
func TestLoadCellCase(t *testing.T) {
	x, y := pontiusData(t)
	lackOfFit := func(degree int) (Polynomial, float64, float64) {
		p, err := FitPolynomial(x, y, degree)
		if err != nil {
			t.Fatal(err)
		}
		pure := 0.0
		for i := range 20 {
			d := y[i] - y[i+20]
			pure += d * d / 2
		}
		sse := p.ResidualSD * p.ResidualSD * float64(p.DF)
		return p, (sse - pure) / float64(p.DF-20) / (pure / 20), math.Sqrt(pure / 20)
	}
	p, f, pure := lackOfFit(1)
	for what, c := range map[string][3]float64{
		"B0": {p.Coefficients[0], 0.614969e-02, 1e-8}, "B1": {p.Coefficients[1], 0.722103e-06, 5e-13},
		"sd of B0": {p.StandardErrors[0], 0.7132e-03, 5e-8}, "sd of B1": {p.StandardErrors[1], 0.3969e-09, 5e-14},
		"residual sd": {p.ResidualSD, 0.00217127260, 5e-12}, "lack of fit": {f, 214.7469, 0.001}, "pure error": {pure, 0.000214727, 5e-10},
	} {
		if math.Abs(c[0]-c[1]) > c[2] {
			t.Errorf("%s is %v, want %v", what, c[0], c[1])
		}
	}
	if _, f, _ := lackOfFit(2); math.Abs(f-0.8107) > 0.001 {
		t.Errorf("lack of fit of the quadratic is %v, want 0.8107", f)
	}
}

// The files as published hold the numbers above.
func TestPublishedFiles(t *testing.T) {
	x, y := norrisData(t)
	b := recorded.Text(t, "nist", "Norris.dat")
	got := numbers(t, strings.Join(strings.Split(strings.ReplaceAll(string(b), "\r", ""), "\n")[60:96], "\n"))
	for i := range x {
		if got[2*i] != y[i] || got[2*i+1] != x[i] {
			t.Errorf("row %d is %v, embedded %v %v", i, got[2*i:2*i+2], y[i], x[i])
		}
	}
	b = recorded.Text(t, "nist", "PONTIUS.DAT")
	x, y = pontiusData(t)
	got = numbers(t, strings.Join(strings.Split(strings.ReplaceAll(string(b), "\r", ""), "\n")[25:], "\n"))
	for i := range x {
		if got[2*i] != y[i] || got[2*i+1] != x[i] {
			t.Errorf("row %d is %v, embedded %v %v", i, got[2*i:2*i+2], y[i], x[i])
		}
	}
}
