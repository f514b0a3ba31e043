package rules

import (
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// Truths is the unit of a signal that is a condition: 1 yes, 0 no, NaN unknown.
const Truths = "yes/no"

// A derivation makes signals out of those of sites and mats, scan by scan.
type derivation interface {
	// pass lets time pass with everything as it was.
	pass(span time.Duration)
	// look takes what the place has just heard at p.at: a scan, or that a source
	// has fallen silent.
	look(p *place, silent bool)
	// show writes the signals, as of the instant at.
	show(p *place, at sample.Instant)
	// first is the index of one of its signals.
	first() int

	state.Coder
}

// Names of signals that belong to a whole place.
const (
	sigOccupied = "occupied"
	sigWrapped  = "wrapped"
	sigStill    = "still"
	sigWalking  = "walking"
	sigBending  = "bending"
	sigStanding = "standing"
	sigStride   = "limb.stride"
)

var limbTruths = [...]string{sigStill, sigWalking, sigBending, sigStanding}

// siteQuantities are what a limb tells of each site.
var siteQuantities = [...]struct{ name, unit string }{
	{"resting", "mmHg"}, {"stiffness", "mmHg"}, {"swing", "mmHg"}, {"settling", "mmHg/h"},
}

// pairQuantities are those of each site but the most distal one: against its
// distal neighbour, and against the most distal.
var pairQuantities = [...]struct{ name, unit string }{
	{"ratio", "1"}, {"drop", "mmHg"}, {"residual", "%"},
}

// wideQuantities are what a mat and its regions have beside areaQuantities.
var wideQuantities = [...]struct{ name, unit string }{
	{"index", "mmHg"}, // peak pressure index
	{"share", "%"},    // of the load of the mat
	{"x", "cm"},       // centre of pressure
	{"y", "cm"},
	{"variation", "%"},
	{"gradient", "mmHg/cm"},
}

// reliefQuantities are what a seat tells of its relief.
var reliefQuantities = [...]struct{ name, unit string }{
	{"relief.since", "s"}, {"relief.shifts", "1"}, {"relief.reliefs", "1"}, {"relief.transfers", "1"},
}

// derivedSignals names the signals of a place that are made of others.
func (p *Place) derivedSignals(add func(name, unit string, members int)) {
	switch {
	case p.Kind == Wrap && len(p.Sites) > 0:
		add(sigWrapped, Truths, 1)
		for _, name := range limbTruths {
			add(name, Truths, 1)
		}
		add(sigStride, "Hz", 1)
		order := p.DistalFirst()
		for i, s := range order {
			for _, q := range siteQuantities {
				add(p.Sites[s].ID+"."+q.name, q.unit, len(p.Sites[s].Channels))
			}
			for _, q := range pairQuantities {
				if i > 0 {
					add(p.Sites[s].ID+"."+q.name, q.unit, 2)
				}
			}
		}
	case p.Kind == Bed || p.Kind == Seat:
		add(sigOccupied, Truths, 1)
	}
	if p.shows() {
		for _, q := range bedQuantities {
			add(q.name, q.unit, p.Mat.Rows*p.Mat.Columns)
		}
	}
	if p.Kind == Seat {
		for _, q := range reliefQuantities {
			add(q.name, q.unit, 1)
		}
	}
	if p.Mat == nil {
		return
	}
	for _, q := range wideQuantities {
		add(WholeMat+"."+q.name, q.unit, p.Mat.Rows*p.Mat.Columns)
	}
	for _, r := range p.Mat.Regions {
		for _, q := range wideQuantities {
			add(r.ID+"."+q.name, q.unit, len(r.Cells))
		}
	}
}

// DistalFirst returns the sites' indices along the limb, the most distal first.
func (p *Place) DistalFirst() []int {
	order := make([]int, len(p.Sites))
	known := true
	for i := range order {
		order[i] = i
		known = known && p.Sites[i].HeightCM > 0
	}
	if known {
		slices.SortStableFunc(order, func(a, b int) int {
			switch ha, hb := p.Sites[a].HeightCM, p.Sites[b].HeightCM; {
			case ha < hb:
				return -1
			case ha > hb:
				return +1
			}
			return 0
		})
	}
	return order
}

// derive prepares what makes the derived signals; used says of which signals
// the place's rules speak.
func (p *place) derive(used func(name string) bool, lean bool) {
	if p.spec.Kind == Wrap && len(p.sites) > 0 {
		p.body = newBody(p.signalNamed(sigWrapped))
		p.derivations = append(p.derivations, p.body)
		if l := newLimb(p); !lean || slices.ContainsFunc(p.signals[l.truths[0]:], func(s Signal) bool { return used(s.Name) }) {
			p.derivations = append(p.derivations, l)
		}
	}
	if p.spec.Kind == Bed || p.spec.Kind == Seat {
		p.body = newBody(p.signalNamed(sigOccupied))
		p.derivations = append(p.derivations, p.body)
	}
	if p.spec.shows() && (!lean || slices.ContainsFunc(bedQuantities[:], func(q quantity) bool { return used(q.name) })) {
		p.derivations = append(p.derivations, newBed(p))
	}
	if p.spec.Kind == Seat {
		p.derivations = append(p.derivations, newSeat(p))
	}
	if p.mat != nil {
		if w := newWide(p, used, lean); w != nil {
			p.derivations = append(p.derivations, w)
		}
	}
}

// longest is for how long the values of the place last at most.
func (p *place) longest() (lasts time.Duration) {
	for _, f := range p.feeds {
		lasts = max(lasts, p.sources[f.source].StaleAfter)
	}
	return lasts
}

func (p *place) signalNamed(name string) int {
	return slices.IndexFunc(p.signals, func(s Signal) bool { return s.Name == name })
}

// put writes a derived signal.
func (p *place) put(signal int, v float64, at, until sample.Instant) {
	s := &p.signals[signal]
	s.Value, s.At, s.Until, s.Known = v, at, until, 0
	if v == v {
		s.Known = s.Members
	}
}

// lasting is until when what rests on all feeds of the place lasts.
func (p *place) lasting() sample.Instant {
	until := sample.Never
	for i := range p.feeds {
		until = min(until, p.feeds[i].until)
	}
	return until
}

func truthValue(t sample.Truth) float64 {
	switch t {
	case sample.Yes:
		return 1
	case sample.No:
		return 0
	}
	return sample.Unknown
}

func truthOf(v float64) sample.Truth {
	if v != v {
		return sample.Maybe
	}
	return sample.Of(v != 0)
}
