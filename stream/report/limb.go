package report

import (
	"fmt"
	"math"

	"weald/ingest/sample"
	"weald/stream/report/paper"
	"weald/stream/report/tally"
)

// limb is what a wrapped limb did, and what its wrap did.
type limb struct {
	x       *stretch
	wrapped *condition
	doing   []*condition
	still   int
	sites   []*limbSite
}

// limbSite is a site of it. Of stiffness the last is what counts: it is judged anew
// whenever somebody stands up.
type limbSite struct {
	id                                  string
	resting, stiffness, swing, residual int
	atRest, walking, share              tally.Mean
	last                                tally.Value
	lastAt                              sample.Instant
}

func (x *stretch) limb() (part, bool) {
	l := &limb{x: x, wrapped: x.condition("wrapped", "wrapped"), still: x.follower.Follow("still")}
	if l.still < 0 {
		return nil, false // nothing but a mat
	}
	for _, d := range []string{"still", "walking", "bending", "standing"} {
		l.doing = append(l.doing, x.condition(d, d))
	}
	for i := range x.place.Sites {
		id := x.place.Sites[i].ID
		l.sites = append(l.sites, &limbSite{
			id: id, resting: x.follower.Follow(id + ".resting"), stiffness: x.follower.Follow(id + ".stiffness"),
			swing: x.follower.Follow(id + ".swing"), residual: x.follower.Follow(id + ".residual"), last: tally.Value{V: math.NaN()},
		})
	}
	x.readers = append(x.readers, l.take)
	return l, true
}

func (l *limb) take(p *tally.Piece) {
	still := tally.StateOf(p.Values[l.still]) == tally.Yes
	for _, s := range l.sites {
		if s.swing >= 0 {
			s.walking.Add(p.Values[s.swing], p.Span())
		}
		if still && s.resting >= 0 {
			s.atRest.Add(p.Values[s.resting], p.Span())
		}
		if still && s.residual >= 0 {
			s.share.Add(p.Values[s.residual], p.Span())
		}
		if s.stiffness >= 0 {
			if v := p.Values[s.stiffness]; v.Known() && v.V != s.last.V {
				s.last, s.lastAt = v, p.From
			}
		}
	}
}

func (l *limb) lead() []string {
	if l.wrapped.runs.In(tally.Yes)+l.wrapped.runs.In(tally.No) == 0 {
		return []string{"Whether the limb was wrapped is not known."}
	}
	return []string{fmt.Sprintf("Wrapped for %s.", held(l.wrapped.runs))}
}

func (l *limb) section() paper.Section {
	out := paper.Section{Title: "Limb and wrap", Facts: []paper.Fact{l.wrapped.fact(), {Name: "not known", Value: paper.Lasting(l.wrapped.runs.In(tally.Unknown))}}}
	strips := []paper.Strip{l.x.strip("wrapped", l.wrapped.runs)}
	for _, d := range l.doing {
		out.Facts, strips = append(out.Facts, d.fact()), append(strips, l.x.strip(d.name, d.runs))
	}
	if l.wrapped.runs.In(tally.Yes) > 0 {
		out.Drawings = []paper.Figure{{SVG: paper.Strips("What the limb did", l.x.axis(), strips), Caption: "Filled: when it was so. Hatched: not known."}}
	}
	out.Table = &paper.Table{Name: "wrap", Heads: []string{"site", "at rest", "share of the ankle", "stiffness, last", "walking amplitude"}}
	for _, s := range l.sites {
		share := "–"
		if s.residual >= 0 {
			share = paper.Value(s.share.Mean(), math.NaN(), "%")
		}
		stiff := paper.Value(s.last.V, s.last.U, "mmHg")
		if s.last.Known() {
			stiff += " at " + l.x.times().Short(s.lastAt)
		}
		out.Table.Add(spoken(s.id), paper.Value(s.atRest.Mean(), s.atRest.U(), "mmHg"), share, stiff, paper.Value(s.walking.Mean(), math.NaN(), "mmHg"))
	}
	out.Notes = []string{"At rest and share: means over the time in which the limb was still; the share is that of the most distal site. Stiffness is the rise on standing up; 10 mmHg is where sources part elastic from inelastic (Mosti, Mattaliano, Acta Vulnologica 2006;4(2):73-80). Walking amplitude is the mean over the time in which it was known: it is not, where there are fewer than ten scans a stride."}
	return out
}
