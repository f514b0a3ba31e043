package expr

import (
	"math"
	"math/big"

	"weald/ingest/sample"
)

// The reference is an evaluator that has nothing in common with the compiled
// one: it walks the tree that the generator made, in exact rational arithmetic
// on SI units. As the program rounds, each exact value carries a bound on how
// far a float64 computation may be off, and a comparison that the bound leaves
// open makes the whole case open.

// A quantity is a number in SI units; the zero value is unknown.
type quantity struct {
	exact *big.Rat
	err   float64 // bound on the absolute error; 0 only where there was no rounding
}

func (q quantity) known() bool { return q.exact != nil }

func (q quantity) size() float64 {
	f, _ := q.exact.Float64()
	return math.Abs(f)
}

// rounded is exact with the error that its parts bring plus that of rounding
// it. Conversions between units count as a few roundings more.
func rounded(exact *big.Rat, err float64) quantity {
	q := quantity{exact, err}
	if _, isFloat := exact.Float64(); err > 0 || !isFloat {
		q.err += 8 * 0x1p-52 * q.size()
	}
	return q
}

// SI amounts of the units, as fractions and independent of the program's own.
var si = map[string]*big.Rat{
	"mmHg": ratio("133.322387415"), "kPa": ratio("1000"), "Pa": ratio("1"),
	"ms": ratio("1/1000"), "s": ratio("1"), "min": ratio("60"), "h": ratio("3600"),
	"mm": ratio("1/1000"), "cm": ratio("1/100"), "m": ratio("1"),
	"mm2": ratio("1/1000000"), "cm2": ratio("1/10000"),
	"N": ratio("1"), "%": ratio("1/100"), "1": ratio("1"),
	"Hz": ratio("1"), "mmHg/h": ratio("133322387415/3600000000000"), "mmHg/cm": ratio("13332.2387415"),
}

func ratio(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("not a fraction: " + s)
	}
	return r
}

// amount is v of the unit. Nothing but a whole number of base units is exact
// once the program has converted it.
func amount(v float64, unit string) quantity {
	if math.IsNaN(v) {
		return quantity{}
	}
	q := quantity{exact: new(big.Rat).SetFloat64(v)}
	q.exact.Mul(q.exact, si[unit])
	if unit != "1" {
		q.err = 8 * 0x1p-52 * q.size()
	}
	return q
}

// A tree is an expression as the generator makes it.
type tree struct {
	op   string  // as written, or "number", "signal", "truth", "true", "false"
	v    float64 // of a number
	unit string  // of a number, as it is meant, whether or not it is written
	name string
	args []*tree
}

// slow evaluates trees. It becomes open where rounding decides.
type slow struct {
	values []float64
	truths []sample.Truth
	open   bool
}

func (s *slow) number(t *tree) quantity {
	switch t.op {
	case "number":
		return amount(t.v, t.unit)
	case "signal":
		signal := ward.signals[t.name]
		return amount(s.values[signal.Slot], signal.Unit)
	}
	x := s.number(t.args[0])
	for _, a := range t.args[1:] {
		if y := s.number(a); x.known() && y.known() {
			x = s.combine(t.op, x, y)
		} else {
			x = quantity{}
		}
	}
	if len(t.args) > 1 || !x.known() {
		return x
	}
	switch r := new(big.Rat); t.op {
	case "neg":
		return quantity{r.Neg(x.exact), x.err}
	case "abs":
		return quantity{r.Abs(x.exact), x.err}
	}
	panic(t.op)
}

func (s *slow) combine(op string, x, y quantity) quantity {
	r := new(big.Rat)
	switch op {
	case "+":
		return rounded(r.Add(x.exact, y.exact), x.err+y.err)
	case "-":
		return rounded(r.Sub(x.exact, y.exact), x.err+y.err)
	case "*":
		return rounded(r.Mul(x.exact, y.exact), x.size()*y.err+y.size()*x.err+x.err*y.err)
	case "/":
		if y.err > 0 && y.size() <= 2*y.err {
			s.open = true // zero or nearly so
			return quantity{}
		}
		if y.exact.Sign() == 0 {
			return quantity{}
		}
		least := y.size() - y.err
		return rounded(r.Quo(x.exact, y.exact), (x.err+x.size()/y.size()*y.err)/least)
	case "min", "max":
		chosen := x.exact
		if (x.exact.Cmp(y.exact) > 0) == (op == "min") {
			chosen = y.exact
		}
		return quantity{chosen, max(x.err, y.err)}
	}
	panic(op)
}

// truth answers by looking the connectives up in tables, not by arithmetic.
func (s *slow) truth(t *tree) sample.Truth {
	const yes, no, maybe = sample.Yes, sample.No, sample.Maybe
	switch t.op {
	case "true":
		return yes
	case "false":
		return no
	case "truth":
		return s.truths[ward.signals[t.name].Slot]
	case "known":
		return sample.Of(s.number(t.args[0]).known())
	case "decided":
		return sample.Of(s.truth(t.args[0]) != maybe)
	case "not":
		return map[sample.Truth]sample.Truth{yes: no, maybe: maybe, no: yes}[s.truth(t.args[0])]
	case "and", "or", "==", "!=":
		tables := map[string][3][3]sample.Truth{ // no, maybe, yes on either side
			"and": {{no, no, no}, {no, maybe, maybe}, {no, maybe, yes}},
			"or":  {{no, maybe, yes}, {maybe, maybe, yes}, {yes, yes, yes}},
			"==":  {{yes, maybe, no}, {maybe, maybe, maybe}, {no, maybe, yes}},
			"!=":  {{no, maybe, yes}, {maybe, maybe, maybe}, {yes, maybe, no}},
		}
		return tables[t.op][s.truth(t.args[0])+1][s.truth(t.args[1])+1]
	}
	x, y := s.number(t.args[0]), s.number(t.args[1])
	if !x.known() || !y.known() {
		return maybe
	}
	difference := new(big.Rat).Sub(x.exact, y.exact)
	if size, _ := difference.Float64(); math.Abs(size) <= x.err+y.err && x.err+y.err > 0 {
		s.open = true
	}
	switch sign := difference.Sign(); t.op {
	case "<":
		return sample.Of(sign < 0)
	case "<=":
		return sample.Of(sign <= 0)
	case ">":
		return sample.Of(sign > 0)
	case ">=":
		return sample.Of(sign >= 0)
	}
	panic(t.op)
}
