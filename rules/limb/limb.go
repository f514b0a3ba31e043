package limb

import (
	"math"
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// A step of the lowest site's resting level is a change of posture from the
// larger of these on: below, it is a foot that was moved.
const stepMMHg, stepShare = 3.0, 0.08

// An Activity says what a limb does. Of Still, Walking and Bending at most one
// is yes; Standing is a posture, and may be known while it moves.
type Activity struct {
	Still, Walking, Bending, Standing sample.Truth
}

// A Site is what is known of one site at an instant; NaN where unknown.
type Site struct {
	Resting   float64 // mmHg
	Stiffness float64 // mmHg
	Swing     float64 // mmHg
	Settling  float64 // mmHg/s
}

// A Limb follows the sites of one limb, the most distal first.
type Limb struct {
	sites []*site
	now   Activity
	moved bool // since the last rest
	stood sample.Truth
	walk  Walk
	walks bool
	swing []float64
	last  sample.Instant
	any   bool
	marks Marks
}

// New returns a limb of n sites that has seen nothing.
func New(n int) *Limb {
	l := &Limb{swing: make([]float64, n)}
	for range n {
		l.sites = append(l.sites, newSite())
	}
	return l
}

// Add takes the pressures of all sites, NaN where unknown. lasts is for how long
// a value is taken to last where no other comes.
func (l *Limb) Add(at sample.Instant, values []float64, lasts time.Duration) {
	if l.any && at.Sub(l.last) > lasts {
		l.moved = true // who knows what it did meanwhile
		l.marks.moves()
		for _, s := range l.sites {
			s.resting.Clear()
		}
	}
	l.last, l.any = at, true
	moving := sample.No
	known := false
	l.walks, l.walk = false, Walk{}
	for i, s := range l.sites {
		v := values[i]
		s.strides.Add(at, v)
		s.moves.add(at, v, lasts)
		l.swing[i] = math.NaN()
		if v != v {
			continue
		}
		known = true
		moving = moving.Or(s.moving(v))
		if w, ok := s.strides.Walk(at); ok {
			l.swing[i] = w.Swing
			if !l.walks {
				l.walk, l.walks = w, true
			}
		}
	}
	l.judge(known, moving)
	l.rest(at, values)
}

// judge finds out what the limb does.
func (l *Limb) judge(known bool, moving sample.Truth) {
	walking := sample.Of(l.walks)
	switch {
	case !known || moving == sample.Maybe:
		l.now = Activity{}
	case moving == sample.No:
		l.now = Activity{Still: sample.Yes, Walking: sample.No, Bending: sample.No}
	case l.tells() || l.walks && l.walk.Told():
		l.now = Activity{Still: sample.No, Walking: walking, Bending: walking.Not()}
	default:
		l.now = Activity{Still: sample.No}
	}
	if l.now.Still != sample.Yes {
		l.moved = true
		l.marks.moves()
	}
	l.now.Standing = l.stood
}

// tells reports whether the readings come fast enough to tell strides.
func (l *Limb) tells() bool {
	for _, s := range l.sites {
		if s.strides.pace() >= perStrideToTell*fastest {
			return true
		}
	}
	return false
}

// rest follows the resting levels, and with the first of a new rest whether the
// limb has stood up or lain down.
func (l *Limb) rest(at sample.Instant, values []float64) {
	still := l.now.Still == sample.Yes
	for i, s := range l.sites {
		switch {
		case !still:
			s.resting.Clear()
			s.level = math.NaN()
			s.settling.Add(at, math.NaN())
		case values[i] != values[i]:
			s.level = math.NaN()
		default:
			if s.resting.Add(at, values[i]) || s.level != s.level {
				s.level = s.resting.Median(restingLeast)
			}
			if s.settling.Add(at, s.level) {
				s.settles = s.settling.Slope()
			}
		}
	}
	if still && len(l.sites) > 0 && l.sites[0].level == l.sites[0].level {
		if l.moved {
			l.step()
		}
		if l.marks.of(at) {
			l.told()
		}
	}
	for _, s := range l.sites {
		if s.level == s.level && !l.moved {
			s.rested = s.level
		}
	}
}

// step compares the first level of a rest with the last of the one before.
func (l *Limb) step() {
	first := l.sites[0]
	by := first.level - first.rested
	least := max(stepMMHg, stepShare*first.rested)
	switch {
	case by >= least:
		if l.stood == sample.Yes {
			break // higher still: the rise is that from lying
		}
		l.stood = sample.Yes
		for _, s := range l.sites {
			s.rise = s.level - s.rested
		}
		l.lies(func(s *site) float64 { return s.rested })
	case by <= -least:
		l.stood = sample.No
		for _, s := range l.sites {
			s.rise = math.NaN()
		}
		l.lies(func(s *site) float64 { return s.level })
	}
	l.now.Standing = l.stood
	l.moved = false
}

// Activity returns what the limb does.
func (l *Limb) Activity() Activity { return l.now }

// Walk returns what the last strides tell; false if the limb does not walk.
func (l *Limb) Walk() (Walk, bool) { return l.walk, l.walks && l.now.Walking == sample.Yes }

// Site returns what is known of a site.
func (l *Limb) Site(i int) Site {
	s := l.sites[i]
	out := Site{Resting: s.level, Stiffness: math.NaN(), Swing: math.NaN(), Settling: s.settles}
	if l.stood == sample.Yes && l.now.Still == sample.Yes {
		out.Stiffness = s.rise
	}
	if l.now.Walking == sample.Yes {
		out.Swing = l.swing[i]
	}
	return out
}

// Silence makes unknown what needs a present reading.
func (l *Limb) Silence() {
	l.now = Activity{Standing: l.stood}
	l.walks = false
	for _, s := range l.sites {
		s.level = math.NaN()
	}
}

// Unwrap forgets everything: the wrap has come off, and what follows is another.
func (l *Limb) Unwrap() { *l = *New(len(l.sites)) }

// Code implements state.Coder.
func (l *Limb) Code(c *state.Codec) {
	for _, s := range l.sites {
		s.Code(c)
	}
	for _, t := range []*sample.Truth{&l.now.Still, &l.now.Walking, &l.now.Bending, &l.now.Standing, &l.stood} {
		c.Truth(t)
	}
	c.Bool(&l.moved)
	c.Bool(&l.walks)
	c.Int(&l.walk.Strides, 0, stridesKept)
	c.Float(&l.walk.Hertz)
	c.Float(&l.walk.Rate)
	c.Float(&l.walk.Swing)
	c.Floats(l.swing)
	c.Instant(&l.last)
	c.Bool(&l.any)
}
