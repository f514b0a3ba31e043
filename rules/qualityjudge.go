package rules

import (
	"math"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/state"
)

// A qualityJudge looks at the members of a site, or at the cells of a mat.
type qualityJudge struct {
	still
	spec *Quality
	site int // index into place.sites; -1 for the mat
	name string
	need int // how many channels must have a fault

	watched []watched
	feeds   []int  // of the channels, each once
	flows   []flow // by feeds
	steady  steady
	skip    []bool        // by channel: withheld from the scan that is being heard
	bad     int           // how many cells of a mat have a fault, while none is silent
	left    time.Duration // until the first of its sources falls silent, if nothing is heard; 0 for never
}

// A watched is one channel that a quality rule looks at.
type watched struct {
	feed, channel int
	is            trait // in the newest scan
}

// A trait is what a scan says of a channel, by itself.
type trait uint8

const (
	saturated trait = 1 << iota
	uncalibrated
	extrapolated
	expired
	without // a value
)

func newQualityJudge(p *place, q *Quality, site int) *qualityJudge {
	j := &qualityJudge{spec: q, site: site, need: 1, name: WholeMat}
	lasts := j.asks(Stuck) || j.asks(Open)
	var peers [][]int // where what lasts is asked for
	if site >= 0 {
		s := &p.sites[site]
		j.name = s.spec.ID
		for i, c := range s.spec.Channels {
			j.watched = append(j.watched, watched{s.feeds[i], c.Index, without})
			if lasts {
				peers = append(peers, s.others(i))
			}
		}
	} else {
		m := p.mat.spec
		for c := range m.Rows * m.Columns {
			j.watched = append(j.watched, watched{p.mat.feed, c, without})
			if lasts {
				peers = append(peers, m.around(c))
			}
		}
		j.need = max(1, int(math.Ceil(q.Share*float64(len(j.watched)))))
	}
	for i := range j.watched {
		w := &j.watched[i]
		if !slices.Contains(j.feeds, w.feed) {
			j.feeds = append(j.feeds, w.feed)
		}
		j.skip = slices.Grow(j.skip, w.channel+1)[:max(len(j.skip), w.channel+1)]
	}
	j.flows = make([]flow, len(j.feeds))
	if lasts {
		j.steady = newSteady(q.Unchanged, peers)
	}
	return j
}

// others returns the channels of the site but one.
func (s *siteState) others(i int) (all []int) {
	for k := range s.spec.Channels {
		if k != i {
			all = append(all, k)
		}
	}
	return all
}

// around returns the cells that share an edge with one.
func (m *Mat) around(cell int) (near []int) {
	row, column := cell/m.Columns, cell%m.Columns
	for _, step := range [...][2]int{{-1, 0}, {0, -1}, {0, 1}, {1, 0}} {
		if r, c := row+step[0], column+step[1]; r >= 0 && r < m.Rows && c >= 0 && c < m.Columns {
			near = append(near, r*m.Columns+c)
		}
	}
	return near
}

func (j *qualityJudge) asks(f Fault) bool { return slices.Contains(j.spec.Of, f) }

func (j *qualityJudge) look(p *place) {
	j.left = 0
	for _, f := range j.feeds {
		until := p.feeds[f].until
		switch {
		case until == sample.Never:
			j.steady.interrupt()
		case j.asks(Silent) && (j.left == 0 || until.Sub(p.at) < j.left):
			j.left = until.Sub(p.at)
		}
	}
	s := p.scan
	if s == nil {
		return
	}
	feed := p.feedOf(s.Source)
	at := slices.Index(j.feeds, feed)
	if at < 0 {
		return
	}
	j.flows[at].add(s)
	j.hear(s, feed)
	if j.site < 0 {
		j.bad = 0
		for i := range j.watched {
			if j.fault(p, i) != "" {
				j.bad++
			}
		}
	}
}

// hear takes what a scan says of the channels.
func (j *qualityJudge) hear(s *sample.Scan, feed int) {
	lasting := j.steady.begin(s)
	j.withhold(s, true)
	for i := range j.watched {
		w := &j.watched[i]
		if w.feed != feed {
			continue
		}
		raw := sample.Unknown
		if !s.Damaged && len(s.Raw) == len(s.Values) && !j.skip[w.channel] {
			raw = s.Raw[w.channel]
		}
		v := s.Values[w.channel]
		w.is = 0
		switch {
		case s.Rail != 0 && raw >= s.Rail:
			w.is = saturated | without
		case raw == raw && v != v:
			w.is = uncalibrated | without
		case v != v:
			w.is = without
		}
		if s.Extrapolated != nil && s.Extrapolated[w.channel] && v > contactAbove {
			w.is |= extrapolated
		}
		if s.Expired != nil && s.Expired[w.channel] {
			w.is |= expired
		}
		if lasting {
			j.steady.add(i, raw, v)
		}
	}
	j.withhold(s, false)
}

func (j *qualityJudge) withhold(s *sample.Scan, is bool) {
	for _, i := range s.Withheld {
		if i < len(j.skip) {
			j.skip[i] = is
		}
	}
}

func (j *qualityJudge) turns() (time.Duration, bool)   { return j.left, j.left > 0 }
func (j *qualityJudge) becomes() (time.Duration, bool) { return j.turns() }
func (j *qualityJudge) pass(span time.Duration)        { j.left = max(0, j.left-span) }

// Code implements state.Coder.
func (j *qualityJudge) Code(c *state.Codec) {
	c.Duration(&j.left)
	for i := range j.watched {
		n := int(j.watched[i].is)
		c.Int(&n, 0, math.MaxUint8)
		j.watched[i].is = trait(n)
	}
	for i := range j.flows {
		j.flows[i].Code(c)
	}
	c.Int(&j.bad, 0, len(j.watched))
	j.steady.Code(c)
}

// condition is never unknown: that nothing is known is what is asked.
func (j *qualityJudge) condition(p *place) (sample.Truth, bool) {
	for i, f := range j.feeds {
		if j.flowing(p, f) && j.flows[i].fault(j.spec) != "" {
			return sample.Yes, false
		}
	}
	if j.site < 0 && j.flowing(p, j.feeds[0]) {
		return sample.Of(j.bad >= j.need), false
	}
	for i := range j.watched {
		if j.fault(p, i) != "" {
			return sample.Yes, false
		}
	}
	return sample.No, false
}

// flowing reports whether a feed has not fallen silent.
func (j *qualityJudge) flowing(p *place, feed int) bool { return p.feeds[feed].until != sample.Never }

// fault returns the first of the faults asked for that a channel has, "" for none.
func (j *qualityJudge) fault(p *place, i int) Fault {
	w := &j.watched[i]
	if !j.flowing(p, w.feed) {
		if j.asks(Silent) {
			return Silent
		}
		return ""
	}
	if w.is == 0 && j.site < 0 && !j.steady.stuck(i) && !j.steady.open(i) {
		return "" // nearly all of a mat's cells
	}
	for _, f := range j.spec.Of {
		has := false
		switch f {
		case Uncalibrated:
			has = w.is&uncalibrated != 0
		case Saturated:
			has = w.is&saturated != 0
		case Missing:
			has = w.is&without != 0
		case Open:
			has = j.steady.open(i)
		case Stuck:
			has = j.steady.stuck(i)
		case Disagrees:
			has = j.site >= 0 && p.sites[j.site].members[i].doubt.Raised
		case Expired:
			has = w.is&expired != 0
		case Extrapolated:
			has = w.is&extrapolated != 0
		}
		if has {
			return f
		}
	}
	return ""
}

// measured gives the number of channels and sources with a fault.
func (j *qualityJudge) measured(p *place, e *alert.Event) {
	e.Signal, e.Unit, e.Value, e.U, e.Limit = j.name, "1", 0, sample.Unknown, 0
	if j.site >= 0 {
		e.Signal = p.signals[p.sites[j.site].signal].Name
	}
	for i := range j.watched {
		if j.fault(p, i) != "" {
			e.Value++
		}
	}
	for i, f := range j.feeds {
		if j.flowing(p, f) && j.flows[i].fault(j.spec) != "" {
			e.Value++
		}
	}
}

func (j *qualityJudge) words(p *place, e *alert.Event) said {
	var bad []string
	counts := map[Fault]int{}
	faulty := 0
	for i := range j.watched {
		f := j.fault(p, i)
		if f == "" {
			continue
		}
		faulty++
		if counts[f]++; j.site >= 0 {
			w := &j.watched[i]
			bad = append(bad, p.sources[p.feeds[w.feed].source].ID+"/"+plain(float64(w.channel))+" "+f.words(j.spec))
		}
	}
	for i, f := range j.feeds {
		if fault := j.flows[i].fault(j.spec); fault != "" && j.flowing(p, f) {
			bad = append(bad, p.sources[p.feeds[f].source].ID+" "+j.flows[i].words(fault))
		}
	}
	if j.site < 0 && faulty > 0 {
		var parts []string
		for _, f := range Faults {
			if n := counts[f]; n > 0 {
				parts = append(parts, plain(float64(n))+" "+f.short())
			}
		}
		bad = append([]string{plain(float64(faulty)) + " of " + plain(float64(len(j.watched))) + " cells: " + strings.Join(parts, ", ")}, bad...)
	}
	asked := "with a faulty channel"
	if faulty == 0 && len(bad) > 0 {
		asked = "with a faulty source"
	}
	reading := strings.Join(bad, "; ")
	if reading == "" {
		reading = "all channels are fine"
	}
	return said{subject: spoken(j.name), is: asked, asked: asked, reading: reading}
}
