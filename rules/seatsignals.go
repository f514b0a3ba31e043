package rules

import (
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/relief"
	"weald/rules/state"
)

// A side is what bears one side of somebody who sits: cells of the mat, or
// sites.
type side struct {
	cells []int
	sites []int
}

// sides finds the left and the right of a seat: regions, or else sites, whose
// name begins or ends with left and right; failing that, the halves of the mat
// as it is seen from above.
func (p *place) sides() (sides [2]side) {
	names := [2]string{"left", "right"}
	is := func(id, name string) bool {
		return id == name || strings.HasSuffix(id, "_"+name) || strings.HasPrefix(id, name+"_") ||
			strings.HasSuffix(id, "-"+name) || strings.HasPrefix(id, name+"-")
	}
	for k, name := range names {
		if p.mat != nil {
			for _, r := range p.mat.spec.Regions {
				if is(r.ID, name) {
					sides[k].cells = append(sides[k].cells, r.Cells...)
				}
			}
			continue
		}
		for i := range p.sites {
			if is(p.sites[i].spec.ID, name) {
				sides[k].sites = append(sides[k].sites, i)
			}
		}
	}
	if len(sides[0].cells)+len(sides[0].sites) > 0 && len(sides[1].cells)+len(sides[1].sites) > 0 {
		return sides
	}
	sides = [2]side{}
	if p.mat == nil {
		for i := range p.sites {
			sides[i%2].sites = append(sides[i%2].sites, i)
		}
		if len(p.sites) == 1 {
			sides[1] = sides[0]
		}
		return sides
	}
	for c := range p.mat.values {
		sides[min(1, c%p.mat.spec.Columns*2/p.mat.spec.Columns)].cells = append(sides[min(1, c%p.mat.spec.Columns*2/p.mat.spec.Columns)].cells, c)
	}
	return sides
}

// load is the mean pressure of a side in mmHg; NaN unless half of it is known.
func (s *side) load(p *place) float64 {
	sum, known := 0.0, 0
	for _, c := range s.cells {
		if v := p.mat.values[c]; v == v {
			sum += v
			known++
		}
	}
	for _, i := range s.sites {
		if v := p.signals[p.sites[i].signal].Value; v == v {
			sum += v
			known++
		}
	}
	if known == 0 || 2*known < len(s.cells)+len(s.sites) {
		return sample.Unknown
	}
	return sum / float64(known)
}

// emptyBelow is the mean of both sides together, in mmHg, at which nobody is on
// a seat: our own choice, no source. Somebody who sits has 20 and more.
const emptyBelow = 2 * 1.0

// A seatState makes the signals of somebody who sits, by the bounds of Sonenblum
// 2016. Rules have trackers of their own, with their own settings.
type seatState struct {
	sides   [2]side
	tracker *relief.Tracker
	signal  int
}

func newSeat(p *place) *seatState {
	spec := relief.Default()
	spec.EmptyBelow = emptyBelow
	return &seatState{sides: p.sides(), tracker: relief.New(spec), signal: p.signalNamed(reliefQuantities[0].name)}
}

func (s *seatState) pass(span time.Duration) { s.tracker.Advance(span) }

func (s *seatState) look(p *place, _ bool) {
	s.tracker.Set(p.at, s.sides[0].load(p), s.sides[1].load(p))
	s.show(p, p.at)
}

func (s *seatState) show(p *place, at sample.Instant) {
	until := p.lasting()
	since := s.tracker.Since().Seconds()
	if s.tracker.Seated() == sample.Maybe {
		since = sample.Unknown
	}
	p.put(s.signal, since, at, until)
	for k := relief.Shift; k <= relief.Transfer; k++ {
		p.put(s.signal+int(k), float64(s.tracker.Count(k)), at, until)
	}
}

func (s *seatState) first() int { return s.signal }

// Code implements state.Coder.
func (s *seatState) Code(c *state.Codec) { s.tracker.Code(c) }
