package attempt

import (
	"math"

	"weald/rules/compression"
	"weald/rules/limb"
)

// Open is a band that aims for nothing.
var Open = Band{0, math.Inf(1)}

// A Verdict is how a pressure lies to its band.
type Verdict string

// The verdicts.
const (
	Unknown Verdict = "unknown"
	Free    Verdict = "free" // nothing was aimed for
	Under   Verdict = "under"
	Inside  Verdict = "inside"
	Over    Verdict = "over"
)

// judge holds a value against the band; sure is false within its uncertainty of an edge,
// and where that is not known.
func (b Band) judge(v Value) (verdict Verdict, sure bool) {
	switch {
	case v.MMHg != v.MMHg:
		return Unknown, false
	case b == Open:
		return Free, true
	case v.MMHg < b.Low:
		return Under, b.Low-v.MMHg > v.U
	case v.MMHg > b.High:
		return Over, v.MMHg-b.High > v.U
	}
	low := b.Low == 0 || v.MMHg-b.Low > v.U
	return Inside, low && b.High-v.MMHg > v.U
}

// less is the difference of two values of one site. What is the reference's goes with
// it, the rest is taken for independent (JCGM 100, 5.1.2).
func (v Value) less(w Value) Value {
	own := func(v Value) float64 { return max(0, v.U*v.U-v.Shared*v.Shared) }
	return Value{v.MMHg - w.MMHg, math.Sqrt(own(v) + own(w)), 0}
}

var unknown = Value{math.NaN(), math.NaN(), math.NaN()}

// A Found is what came of a try at one site; NaN where it is not known.
type Found struct {
	Lying   Value
	Verdict Verdict
	Sure    bool

	Residual float64    // share of the lowest site's pressure
	Fault    limb.Fault // of graduation, against what is below; Fine also where it is not known
	Graded   bool       // it is known

	Laplace float64 // mmHg that the wrapping predicts
	Pull    float64 // N that Laplace's law would need for the pressure read
	Pulled  float64 // share of the greatest pull of all sites

	Stiffness Value
	Swing     Value

	Pressed bool // it was not bare at the beginning, or its zero is off
}

// A Result is what came of a try.
type Result struct {
	Sites []Found // as those of the plan

	// Class is that of the lowest site's pressure in the scheme aimed for; "" between
	// classes, without a scheme, and where it is not known.
	Class string

	Evenness float64 // the least share that was pulled; NaN where fewer than two are known
}

// bareWithin is what a bare sensor may show in mmHg, which is what can be zeroed.
const bareWithin = 5

// Judge says what came of the readings of a try.
func Judge(p *Plan, readings []Reading) Result {
	of := func(step Step, site int) Value {
		for _, r := range readings {
			if r.Step == step && site < len(r.Values) {
				return r.Values[site]
			}
		}
		return unknown
	}
	out := Result{Sites: make([]Found, len(p.Sites))}
	for i := range p.Sites {
		site, f := &p.Sites[i], &out.Sites[i]
		f.Lying = of(Lying, i)
		f.Verdict, f.Sure = site.Aim.judge(f.Lying)
		f.Laplace, f.Pull = p.Wrapping.Pressure(site.GirthCM), p.Wrapping.Pull(f.Lying.MMHg, site.GirthCM)
		f.Stiffness, f.Swing = of(Standing, i).less(f.Lying), of(Walking, i)
		f.Pressed = math.Abs(of(Bare, i).MMHg) > bareWithin
		p.grade(i, out.Sites)
	}
	out.Evenness = p.even(out.Sites)
	if s := compression.Named(p.Scheme); s != nil && len(out.Sites) > 0 {
		if c := s.Of(out.Sites[0].Lying.MMHg); c != nil {
			out.Class = c.ID
		}
	}
	return out
}

// even says how hard was pulled at each site beside the others, and returns the least of
// that: by Laplace's law pull goes with pressure × girth.
func (p *Plan) even(sites []Found) float64 {
	most, known := 0.0, 0
	for i := range sites {
		f := &sites[i]
		f.Pulled = math.NaN()
		if girth := p.Sites[i].GirthCM; girth > 0 && f.Lying.MMHg > 0 {
			f.Pulled = f.Lying.MMHg * girth
			most, known = max(most, f.Pulled), known+1
		}
	}
	least := math.NaN()
	for i := range sites {
		f := &sites[i]
		f.Pulled /= most
		if known > 1 && !(f.Pulled >= least) && f.Pulled == f.Pulled {
			least = f.Pulled
		}
	}
	return least
}

// grade judges the graduation at a site by what is below it.
func (p *Plan) grade(i int, sites []Found) {
	f := &sites[i]
	f.Residual = math.NaN()
	if i == 0 {
		return
	}
	here, below, lowest := f.Lying.MMHg, sites[i-1].Lying.MMHg, sites[0].Lying.MMHg
	if lowest >= limb.Judgeable {
		f.Residual = limb.Residual(here, lowest) / 100
	}
	f.Graded = here == here && below >= limb.Judgeable
	f.Fault, _ = limb.Grade{Ratio: 1}.Judge(below, here)
	if f.Fault == limb.Fine && p.asks(i) {
		f.Fault, _ = limb.Grade{Ratio: p.Most, Steepest: p.Least}.Judge(lowest, here)
	}
}
