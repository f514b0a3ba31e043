package rules

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/limb"
	"weald/rules/state"
)

// A limbState makes the signals of a limb under a wrap.
type limbState struct {
	limb   *limb.Limb
	order  []int // the sites, the most distal first
	truths []int // signals, as in limbTruths
	stride int
	sites  []int // first signals of the sites, in order
	pairs  []int // and of those with a distal neighbour
	lasts  time.Duration
	values []float64
}

// newLimb makes those of a place with sites.
func newLimb(p *place) *limbState {
	l := &limbState{
		limb: limb.New(len(p.sites)), order: p.spec.DistalFirst(), values: make([]float64, len(p.sites)),
		stride: p.signalNamed(sigStride), lasts: p.longest(),
	}
	for _, name := range limbTruths {
		l.truths = append(l.truths, p.signalNamed(name))
	}
	for i, s := range l.order {
		id := p.spec.Sites[s].ID
		l.sites = append(l.sites, p.signalNamed(id+"."+siteQuantities[0].name))
		if i > 0 {
			l.pairs = append(l.pairs, p.signalNamed(id+"."+pairQuantities[0].name))
		}
	}
	return l
}

func (l *limbState) pass(time.Duration) {}

func (l *limbState) look(p *place, silent bool) {
	if p.body.answer() == sample.No {
		l.limb.Unwrap()
	}
	for i, s := range l.order {
		l.values[i] = p.signals[p.sites[s].signal].Value
	}
	if silent {
		l.limb.Silence()
	} else {
		l.limb.Add(p.at, l.values, l.lasts)
	}
	l.show(p, p.at)
}

func (l *limbState) show(p *place, at sample.Instant) {
	until := p.lasting()
	a := l.limb.Activity()
	for i, t := range [len(limbTruths)]sample.Truth{a.Still, a.Walking, a.Bending, a.Standing} {
		p.put(l.truths[i], truthValue(t), at, until)
	}
	hertz := sample.Unknown
	if w, ok := l.limb.Walk(); ok {
		hertz = w.Hertz
	}
	p.put(l.stride, hertz, at, until)
	ankle := p.signals[p.sites[l.order[0]].signal].Value
	for i, s := range l.order {
		site := l.limb.Site(i)
		for k, v := range [len(siteQuantities)]float64{site.Resting, site.Stiffness, site.Swing, site.Settling * 3600} {
			p.put(l.sites[i]+k, v, at, until)
		}
		p.doubtSite(l.sites[i], &p.signals[p.sites[s].signal])
		if i == 0 {
			continue
		}
		here, distal := p.signals[p.sites[s].signal].Value, p.signals[p.sites[l.order[i-1]].signal].Value
		ratio, residual := math.NaN(), math.NaN()
		if distal >= limb.Judgeable {
			ratio = here / distal
		}
		if ankle >= limb.Judgeable {
			residual = limb.Residual(here, ankle)
		}
		p.put(l.pairs[i-1], ratio, at, until)
		p.put(l.pairs[i-1]+1, distal-here, at, until)
		p.put(l.pairs[i-1]+2, residual, at, until)
	}
}

// doubtSite says how uncertain a resting level and a stiffness are, where the
// pressure of the site is known to be. Readings of one sensor err alike, so a median
// of them is no surer than one; of two levels the parts of the site alone are taken
// for independent (JCGM 100, 5.1.2), and what comes of the gauge goes with the
// difference.
func (p *place) doubtSite(first int, of *Signal) {
	resting, stiffness := &p.signals[first], &p.signals[first+1]
	resting.U, resting.Shared = of.U, of.Shared
	stiffness.U, stiffness.Shared = math.Sqrt(2*max(0, of.U*of.U-of.Shared*of.Shared)), 0
	for _, s := range []*Signal{resting, stiffness} {
		if s.Value != s.Value {
			s.U, s.Shared = sample.Unknown, 0
		}
	}
}

func (l *limbState) first() int { return l.stride }

// Code implements state.Coder.
func (l *limbState) Code(c *state.Codec) { l.limb.Code(c) }
