package outline

import (
	"fmt"
	"math"

	"weald/rules/posture"
)

// The regions of somebody who lies, by the names that a bed's bands have too.
const (
	Head      = "head"
	Shoulders = "shoulders"
	Pelvis    = "pelvis"
	Heels     = "heels"
)

// What a bed must show, in mm and as shares of a stature: see the package
// comment for where they are from.
const (
	drawn       = 90.0  // the width over which the profile is drawn
	shortest    = 900.0 // of an outline; shorter is nobody, or nobody stretched out
	edgeLoad    = 0.02  // of the greatest row, at the ends of the outline
	pelvisFrom  = 0.40  // of the outline
	pelvisTo    = 0.66
	toPelvis    = 0.50 // from the crown, of the stature
	toShoulders = 0.28 // from the pelvis up
	slack       = 0.08 // either way
	toHeels     = 0.34 // from the pelvis down, at least
	half        = 0.075
	headTall    = 0.16
	heelsTall   = 0.11
	dip         = 0.6 // of the lesser load beside it: what shows a neck
	feetHeavy   = 0.50
)

// Bed looks for head, shoulders, pelvis and heels of somebody who lies on a
// mat. Values are pressures row by row in any unit, NaN unknown.
func Bed(m *posture.Mat, values []float64) Answer {
	var a Answer
	s := newSheet(m, values)
	if why := s.unfit(m); why != "" {
		a.miss(why, Head, Shoulders, Pelvis, Heels)
		return a
	}
	p := s.profile()
	first, last := p.ends()
	length := float64(last-first+1) * s.AlongMM
	if length < shortest {
		a.miss(fmt.Sprintf("the load is %.0f mm long, too short for somebody who lies stretched out", length), Head, Shoulders, Pelvis, Heels)
		return a
	}
	if c := (p.centre() - float64(first)) / float64(last-first+1); c > feetHeavy {
		a.miss(fmt.Sprintf("the middle of the load is at %.0f %% of its length, nearer to the feet than anybody's: look whether the head is where the configuration has it", 100*c), Head, Shoulders, Pelvis, Heels)
		return a
	}
	l := lie{s: s, p: p, first: first, last: last, columns: m.Columns, stature: length}
	l.find(&a)
	return a
}

// unfit says why a map cannot show a body.
func (s *sheet) unfit(m *posture.Mat) string {
	switch {
	case !m.Shows():
		return "the mat is too small or too coarse to show a body"
	case s.blind():
		return unknown
	case s.typical <= 0:
		return "nobody lies on the mat"
	}
	return ""
}

// A lie is somebody's outline and what has been found of them.
type lie struct {
	s           *sheet
	p           profile
	first, last int // rows
	columns     int // of the map
	stature     float64
}

// rows turns a share of the stature into rows.
func (l *lie) rows(share float64) int { return int(math.Round(share * l.stature / l.s.AlongMM)) }

func (l *lie) find(a *Answer) {
	n := float64(l.last - l.first + 1)
	from, to := l.first+int(pelvisFrom*n), l.first+int(pelvisTo*n)
	pelvis, ok := l.p.summit(from, to)
	if !ok {
		a.miss("the load has no heaviest part near its middle, where a pelvis would be", Head, Shoulders, Pelvis, Heels)
		return
	}
	// The outline of who draws the knees up is shorter than they are.
	l.stature = float64(pelvis-l.first) * l.s.AlongMM / toPelvis

	shoulders := l.p.heaviest(pelvis-l.rows(toShoulders+slack), pelvis-l.rows(toShoulders-slack))
	neck, shown := l.neck(shoulders)
	if shown {
		l.add(a, Head, max(l.first-1, 0), min(neck, l.first+l.rows(headTall)), "the load beyond the emptiest row above the shoulders")
	} else {
		a.miss("no gap above the shoulders shows where the head begins", Head)
	}
	if l.p[shoulders] < dip*l.p[pelvis]/4 {
		a.miss("nothing heavy lies where shoulders would be", Shoulders)
	} else {
		top := shoulders - l.rows(half)
		if shown {
			top = max(top, neck+1)
		}
		l.add(a, Shoulders, top, shoulders+l.rows(half), "the heaviest rows of the upper body")
	}
	l.add(a, Pelvis, pelvis-l.rows(half), pelvis+l.rows(half), "the heaviest rows near the middle of the outline")
	if l.last < pelvis+l.rows(toHeels) {
		a.miss("the load ends too near to the pelvis: the knees are drawn up, or the feet do not touch", Heels)
		return
	}
	l.add(a, Heels, l.last-l.rows(heelsTall), l.last+1, "the last load towards the feet")
}

// neck returns the emptiest row between the crown and the shoulders, and whether
// it is emptier than what lies on either side.
func (l *lie) neck(shoulders int) (int, bool) {
	at := l.first
	for r := l.first; r <= shoulders; r++ {
		if beyond := l.p.heaviest(l.first, r); l.p[r] < dip*l.p[beyond] && (at == l.first || l.p[r] < l.p[at]) {
			at = r
		}
	}
	return at, at > l.first && l.p[at] < dip*l.p[shoulders]
}

func (l *lie) add(a *Answer, id string, top, bottom int, why string) {
	b, loaded := l.s.around(box{top, bottom, 0, l.s.Columns - 1})
	if !loaded || b.top > b.bottom {
		a.miss("nothing touches there", id)
		return
	}
	a.Found = append(a.Found, l.s.region(id, b, l.columns, why))
}
