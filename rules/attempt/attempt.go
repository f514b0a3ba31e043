package attempt

import (
	"slices"

	"weald/ingest/sample"
	"weald/rules/compression"
)

// A Step is one step of a try, named for what the limb does at its end.
type Step string

// The steps, in their order.
const (
	Bare     Step = "bare"
	Applied  Step = "applied"
	Lying    Step = "lying"
	Standing Step = "standing"
	Walking  Step = "walking"
)

// Steps lists the steps in their order.
func Steps() []Step { return []Step{Bare, Applied, Lying, Standing, Walking} }

// Quantity is what is read at the end of a step: a quantity of every site. "" is that
// of what is no step.
func (s Step) Quantity() string {
	switch s {
	case Bare, Applied:
		return "pressure"
	case Lying, Standing:
		return "resting"
	case Walking:
		return "swing"
	}
	return ""
}

// Next is the step after s; "" after the last.
func (s Step) Next() Step {
	all := Steps()
	if i := slices.Index(all, s); i+1 < len(all) {
		return all[i+1]
	}
	return ""
}

// before reports whether a step comes before another.
func (s Step) before(other Step) bool {
	return slices.Index(Steps(), s) < slices.Index(Steps(), other)
}

// A Band is the pressures in mmHg that are aimed for; 0 and +Inf where it is open. One
// that is open at both ends aims for nothing.
type Band struct{ Low, High float64 }

// A Site is where pressure is read, and what is known of the limb there.
type Site struct {
	ID                string
	HeightCM, GirthCM float64 // 0 where not known
	Aim               Band
}

// A Plan is what was aimed for, and with what. It does not change while the try lasts.
type Plan struct {
	// Scheme and Class name the class of a standard (see package compression) that was
	// aimed for; both empty where the bands are somebody's own.
	Scheme, Class string

	Sites    []Site // the most distal first
	Wrapping compression.Wrapping

	// Least and Most are the shares of the lowest site's pressure that are asked above
	// it, to the knee; 0 asks nothing.
	Least, Most float64
}

// knee is the height in cm up to which a site is taken to be below the knee (our
// choice: no table of girth letters that was found gives heights).
const knee = 50

// Aim sets the bands of all sites by a class: the lowest site's is that of the class,
// and those above it, to the knee, follow from the shares that the standard asks. The
// others are open.
func (p *Plan) Aim(s *compression.Scheme, c *compression.Class) {
	p.Scheme, p.Class, p.Least, p.Most = s.ID, c.ID, c.Least, c.Most
	for i := range p.Sites {
		switch site := &p.Sites[i]; {
		case i == 0:
			site.Aim = Band{c.Low, c.High}
		case p.asks(i):
			site.Aim = Band{c.Least * c.Low, c.Most * c.High}
		default:
			site.Aim = Open
		}
	}
}

// asks reports whether a share is asked at a site above the lowest.
func (p *Plan) asks(i int) bool { return p.Most > 0 && i > 0 && p.Sites[i].HeightCM <= knee }

// A Value is a pressure in mmHg with its standard uncertainty, and the part of that
// which is the reference's; NaN unknown.
type Value struct{ MMHg, U, Shared float64 }

// A Reading is what was read at the end of a step: one value for each site.
type Reading struct {
	Step   Step
	At     sample.Instant
	Values []Value
}

// Take adds a reading to those of a try. Who reads a step again means what came after it
// to be done again too.
func Take(readings []Reading, r Reading) []Reading {
	keep := slices.DeleteFunc(slices.Clone(readings), func(old Reading) bool { return !old.Step.before(r.Step) })
	return append(keep, r)
}
