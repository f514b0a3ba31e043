package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"weald/rules"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
)

const (
	courseSteps = 360 // of a drawing
	mostRegions = 12  // that are drawn
)

// pressures is what was measured: of each site, or of a mat and its regions.
type pressures struct {
	x     *stretch
	body  int // the signal that there is somebody; -1 for none
	lanes []*lane
}

type lane struct {
	name, signal string
	index        int
	whole        tally.Mean // of all the time
	there        tally.Mean // while there is somebody
	course       *tally.Course
}

func (x *stretch) pressures() *pressures {
	p := &pressures{x: x, body: x.follower.Follow(bodySignal(x.place.Kind))}
	for i := range x.place.Sites {
		id := x.place.Sites[i].ID
		p.add(spoken(id), id+".pressure", x.sites[id].Target)
	}
	if m := x.place.Mat; m != nil {
		p.add("whole mat, highest cell", rules.WholeMat+".peak", nil)
		p.add("whole mat, mean in contact", rules.WholeMat+".mean", nil)
		for _, r := range m.Regions[:min(len(m.Regions), mostRegions)] {
			p.add(spoken(r.ID)+", highest cell", r.ID+".peak", nil)
		}
	}
	x.readers = append(x.readers, p.take)
	return p
}

// bodySignal is the signal that says whether there is somebody.
func bodySignal(k rules.PlaceKind) string {
	if k == rules.Wrap {
		return "wrapped"
	}
	return "occupied"
}

// spoken makes an id readable.
func spoken(id string) string { return strings.ReplaceAll(id, "_", " ") }

func (p *pressures) add(name, signal string, band *[2]float64) {
	if i := p.x.follower.Follow(signal); i >= 0 {
		p.lanes = append(p.lanes, &lane{
			name: name, signal: signal, index: i, there: tally.Mean{Band: band},
			course: tally.NewCourse(p.x.from, p.x.to, courseSteps),
		})
	}
}

func (p *pressures) take(piece *tally.Piece) {
	there := p.body < 0 || tally.StateOf(piece.Values[p.body]) == tally.Yes
	for _, l := range p.lanes {
		v := piece.Values[l.index]
		l.whole.Add(v, piece.Span())
		l.course.Add(v, piece.From, piece.To)
		if there {
			l.there.Add(v, piece.Span())
		}
	}
}

// least is for how long there were readings of the site that has the fewest.
func (p *pressures) least() time.Duration {
	if len(p.lanes) == 0 {
		return 0
	}
	least := p.lanes[0].whole.Known
	for _, l := range p.lanes {
		least = min(least, l.whole.Known)
	}
	return least
}

// lead says how much of the time each site was in the band that is aimed for.
func (p *pressures) lead() (out []string) {
	for _, l := range p.lanes {
		b := l.there.Band
		switch {
		case b == nil:
		case l.there.Known == 0:
			out = append(out, fmt.Sprintf("%s: whether it was in its band of %s to %s is not known.", upper(l.name), paper.Number(b[0]), pressure(b[1])))
		default:
			out = append(out, fmt.Sprintf("%s: %s on average, in its band of %s to %s for %s of %s.", upper(l.name),
				paper.Value(l.there.Mean(), l.there.U(), "mmHg"), paper.Number(b[0]), pressure(b[1]), paper.Share(l.there.In, l.there.Known), paper.Lasting(l.there.Known)))
		}
	}
	return out
}

func pressure(v float64) string { return paper.Number(v) + " mmHg" }

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// section has the table.
func (p *pressures) section() paper.Section {
	s := paper.Section{Title: "Pressure", Table: &paper.Table{
		Name: "pressure", Heads: []string{"where", "observed", "counted", "mean", "lowest", "highest"},
	}}
	banded := slices.ContainsFunc(p.lanes, func(l *lane) bool { return l.there.Band != nil })
	if banded {
		s.Table.Heads = append(s.Table.Heads, "below", "in band", "above")
	}
	for _, l := range p.lanes {
		m := &l.there
		cells := []string{
			l.name, paper.Share(l.whole.Known, p.x.span()), lasting(m.Known),
			paper.Value(m.Mean(), m.U(), "mmHg"), paper.Value(m.Low(), math.NaN(), "mmHg"), paper.Value(m.High(), math.NaN(), "mmHg"),
		}
		if banded && m.Band == nil {
			cells = append(cells, "–", "–", "–")
		} else if banded {
			cells = append(cells, paper.Share(m.Below, m.Known), paper.Share(m.In, m.Known), paper.Share(m.Above, m.Known))
		}
		s.Table.Add(cells...)
	}
	s.Notes = append(s.Notes, "Observed: of all the time. Counted, and all that follows: "+p.while()+". Means are over time; ± is the standard uncertainty of a reading where one is stated, and as readings of one sensor err alike the mean is no surer.")
	return s
}

func (p *pressures) while() string {
	switch {
	case p.body < 0:
		return "all that was observed"
	case p.x.place.Kind == rules.Wrap:
		return "while the limb was wrapped"
	}
	return "while there was somebody"
}

// drawings has one of each of which something is known.
func (p *pressures) drawings(alerts []episode) (all []paper.Figure) {
	for _, l := range p.lanes {
		if l.whole.Known > 0 {
			all = append(all, p.draw(l, alerts))
		}
	}
	return all
}

// draw draws the range and the mean in each step, and leaves open what is not known.
func (p *pressures) draw(l *lane, alerts []episode) paper.Figure {
	high := max(l.whole.High(), 1)
	if b := l.there.Band; b != nil {
		high = max(high, b[1])
	}
	caption := fmt.Sprintf("%s. Line: mean of %s; shaded: lowest to highest in it; open where nothing is known.", upper(l.name), paper.Lasting(l.course.Step()))
	d := paper.Draw(upper(l.name)+", mmHg over time", paper.Lane, p.x.axis(), paper.Numbers("mmHg", min(l.whole.Low(), 0), high*1.08))
	var upperLine, lowerLine, mean []paper.Point
	flush := func() {
		d.Between("range", upperLine, lowerLine)
		d.Path("up", mean)
		upperLine, lowerLine, mean = nil, nil, nil
	}
	end := p.x.seconds(p.x.to)
	for i := range l.course.Steps {
		m := &l.course.Steps[i]
		if m.Known == 0 {
			flush()
			continue
		}
		for _, at := range []float64{p.x.seconds(l.course.At(i)), min(p.x.seconds(l.course.At(i+1)), end)} {
			upperLine, lowerLine = append(upperLine, paper.Point{X: at, Y: m.High()}), append(lowerLine, paper.Point{X: at, Y: m.Low()})
			mean = append(mean, paper.Point{X: at, Y: m.Mean()})
		}
	}
	flush()
	if b := l.there.Band; b != nil {
		d.Line("target", 0, b[0], end, b[0])
		d.Line("target", 0, b[1], end, b[1])
		caption += " Dashed: the band that is aimed for."
	}
	drawn := 0
	for i := range alerts {
		a := &alerts[i]
		if drawn < mostEvents && a.Signal != "" && strings.TrimSuffix(a.Signal, ".pressure") == strings.TrimSuffix(strings.TrimSuffix(l.signal, ".peak"), ".pressure") && a.RaisedAt != nil && a.from() >= p.x.from {
			d.Event(p.x.seconds(a.from()), fmt.Sprint(i+1))
			drawn++
		}
	}
	if drawn > 0 {
		caption += " Numbers: alerts of the table below."
	}
	return paper.Figure{SVG: d.Done(), Caption: caption}
}
