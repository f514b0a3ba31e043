package rules

import (
	"cmp"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/matstat"
)

// A feed is a source as one place sees it.
type feed struct {
	source int
	last   sample.Instant // event time of its last evaluated scan; Past before the first
	until  sample.Instant // its values last to here; Never while it has none
	newest sample.Instant // event time of its newest scan, evaluated or waiting
}

// A place is the present of one place, evaluated up to the instant at.
//
// Time moves in segments in which every signal is constant: from one reading,
// or one source falling silent, to the next. Within a segment every watch has a
// constant condition, so that whatever it raises or clears, it does at an
// instant that can be computed.
type place struct {
	index   int
	spec    *Place
	sources []Source // of the plan
	at      sample.Instant
	due     sample.Instant // when tick is wanted next, in event time; Never
	feeds   []feed
	sites   []siteState
	mat     *matState
	signals []Signal
	watches []watch
	lives   []life // of the alerts that the watches can raise, in their order
	byKey   map[alert.Key]int
	lifeDue sample.Instant // when the first life changes by time alone; Never
	queue   queue          // scans that wait for those of other sources
	scan    *sample.Scan   // the one that is being taken; nil otherwise
	events  []alert.Event  // found by the watches, and not yet lived
	told    []alert.Event  // buffer of what one life tells
	sink    Sink

	body        *bodyState // whether there is somebody; nil where nobody can tell
	derivations []derivation
	nobody      sample.Truth // what the rules that need a body were told last
	aside       int          // how many lives are put aside as there is nobody
	basic       int          // how many of the signals are those of sites and mats

	values []float64      // of the signals, for gates
	truths []sample.Truth // of those that are conditions
}

// A matState is the present of a mat.
type matState struct {
	spec   *Mat
	feed   int
	values []float64
	own    []float64 // parts of the standard uncertainties of values that are of a cell alone, NaN not known
	shared []float64 // and of the gauge that all were calibrated with
	us     []float64 // both together, where somebody asks: see uncertainties
	fresh  bool      // us is of these values
	patch  [][2]int  // buffer of doubtIndex
	stated []float64 // what the configuration states; nil for nothing
	beyond []bool    // by cell: extrapolated; nil where none is
	past   []bool    // by cell: its calibration is past its date; nil where none is
	at     sample.Instant
	areas  []area       // the whole mat, then the regions
	stat   *matstat.Mat // what they measure, in that order

	level    float64 // the uncertainty that is stated of every cell; NaN where there is no such one
	disjoint bool    // no cell is in two regions
	rest     area    // the cells that are in no region

	loaded  *hold.Cells // counts for how long each of so many cells has been loaded; raises nothing
	counted int         // all, or none in a lean plan: it is for people
}

// A watch is one rule applied to one place.
type watch interface {
	// advance lets span pass from the instant from on.
	advance(p *place, from sample.Instant, span time.Duration)
	// set looks at the signals, which have just changed at p.at.
	set(p *place)
	// next says in how much time a change is due if nothing else happens,
	// whether anything is raised or would be by a silence, and on which feeds
	// that rests.
	next() (in time.Duration, ok, raised bool, feeds []int)
	// progress appends how far it has come.
	progress(p *place, dst []Progress) []Progress
	// judges returns the rule that it applies, and called what tells it from the
	// others of the place.
	judges() *Rule
	called() string
	// snapshot writes its state, and restore reads it.
	snapshot(*writer)
	restore(*reader)
}

// evaluate moves the place to the scan's instant and takes its values.
func (p *place) evaluate(s *sample.Scan) {
	if s.At < p.at {
		p.sink.Late(p.index, s)
		return
	}
	p.moveTo(s.At, false)
	f := p.feedOf(s.Source)
	p.feeds[f].last = s.At
	p.feeds[f].until = s.At.Add(p.sources[s.Source].StaleAfter)
	p.take(f, s)
	p.settle()
	p.sink.Updated(p.index, s.At)
}

// tick moves the place to an instant that something was due at.
func (p *place) tick(to sample.Instant) {
	switch {
	case to < p.at:
		p.reckon()
		return
	case p.at == sample.Past: // nothing has been heard; what is due is people's
		p.fire(to)
		p.reckon()
		return
	}
	p.moveTo(to, true)
	p.settle()
	p.sink.Updated(p.index, to)
}

// moveTo lets time pass to the given instant. Sources that fall silent on the
// way make their signals unknown then; one that does so exactly at the end does
// so only if inclusive, because a reading that comes just in time leaves no
// hole.
func (p *place) moveTo(to sample.Instant, inclusive bool) {
	for {
		f, when := p.firstSilence()
		turn := p.firstTurn()
		if next := min(when, turn); next > to || (next == to && !inclusive) {
			break
		}
		if turn < when {
			p.pass(turn)
			p.turn()
			p.look(false)
		} else {
			p.pass(when)
			p.silence(f)
			p.turn()
			p.look(true)
		}
		for _, w := range p.watches {
			w.set(p)
		}
	}
	p.pass(to)
	p.turn()
}

// firstTurn returns when the first member of a site is dropped or comes back.
func (p *place) firstTurn() sample.Instant {
	first := sample.Never
	for i := range p.sites {
		if in, ok := p.sites[i].turns(); ok {
			first = min(first, p.at.Add(in))
		}
	}
	return first
}

// turn brings the signals of sites up to date whose members have turned.
func (p *place) turn() {
	for i := range p.sites {
		if p.sites[i].turned {
			p.updateSite(&p.sites[i], p.at)
		}
	}
}

// pass lets time pass without any signal changing.
func (p *place) pass(to sample.Instant) {
	if p.at != sample.Past {
		span := to.Sub(p.at)
		for _, w := range p.watches {
			w.advance(p, p.at, span)
		}
		if p.mat != nil {
			p.mat.loaded.Advance(span)
		}
		for _, d := range p.derivations {
			d.pass(span)
		}
		for i := range p.sites {
			p.sites[i].pass(span)
		}
	}
	p.at = to
}

// settle tells what has happened, in order of time, and plans the next tick.
func (p *place) settle() {
	if len(p.events) > 1 {
		slices.SortStableFunc(p.events, func(a, b alert.Event) int { return cmp.Compare(a.At, b.At) })
	}
	for i := range p.events {
		p.live(p.events[i])
	}
	p.events = p.events[:0]
	p.fire(p.at)
	p.reckon()
}

// firstSilence returns the feed whose values end first, and when.
func (p *place) firstSilence() (feed int, when sample.Instant) {
	when = sample.Never
	for f := range p.feeds {
		if p.feeds[f].until < when {
			feed, when = f, p.feeds[f].until
		}
	}
	return feed, when
}

// take puts a scan's values into the signals that are made of them.
func (p *place) take(f int, s *sample.Scan) {
	p.scan = s
	defer func() { p.scan = nil }()
	for i := range p.sites {
		if p.sites[i].take(f, s) {
			p.updateSite(&p.sites[i], s.At)
		}
	}
	if p.mat != nil && p.mat.feed == f {
		p.mat.take(s)
		p.mat.at = s.At
		p.mat.loaded.Set(p.mat.values[:p.mat.counted])
		p.updateMat(s.At)
	}
	p.look(false)
	for _, w := range p.watches {
		w.set(p)
	}
}

// look makes the signals that are made of others.
func (p *place) look(silent bool) {
	for _, d := range p.derivations {
		d.look(p, silent)
	}
	if p.body == nil {
		return
	}
	if nobody := p.body.answer().Not(); nobody != p.nobody {
		p.nobody = nobody
		for i, w := range p.watches {
			if r := w.judges(); r.needsBody() && (i == 0 || p.watches[i-1].judges() != r) {
				p.suppress(r, nobody)
			}
		}
	}
}

// silence makes unknown what comes from feed f, at p.at.
func (p *place) silence(f int) {
	p.feeds[f].until = sample.Never
	for i := range p.sites {
		if slices.Contains(p.sites[i].feeds, f) {
			p.sites[i].silence(f)
			p.updateSite(&p.sites[i], p.at)
		}
	}
	if p.mat != nil && p.mat.feed == f {
		for i := range p.mat.values {
			p.mat.values[i] = sample.Unknown
		}
		p.mat.loaded.Silence()
		p.updateMat(p.at)
	}
}

func (p *place) updateSite(s *siteState, at sample.Instant) {
	s.disagree()
	s.turned = false
	sig := &p.signals[s.signal]
	s.mean(sig)
	sig.At, sig.Until = at, sample.Never
	for _, f := range s.feeds {
		sig.Until = min(sig.Until, p.feeds[f].until)
	}
}

// updateMat makes the signals of a mat.
func (p *place) updateMat(at sample.Instant) {
	m := p.mat
	m.stat.Tally(m.values, contactAbove)
	m.doubts()
	for i := range m.areas {
		p.setArea(&m.areas[i], m.stat.Of(i), at)
	}
}

// take takes the values of a scan.
func (m *matState) take(s *sample.Scan) {
	copy(m.values, s.Values)
	switch {
	case s.U != nil:
		m.fresh = false
		copy(m.own, s.U)
		copy(m.shared, s.Shared)
		m.beyond = append(m.beyond[:0], s.Extrapolated...)
		if m.past = append(m.past[:0], s.Expired...); s.Expired == nil {
			m.past = nil
		}
	case m.beyond != nil: // the source has lost its records
		m.beyond, m.past = nil, nil
		m.state()
	}
}

// state takes the uncertainties that the configuration states.
func (m *matState) state() {
	m.fresh = false
	for i := range m.own {
		if m.own[i], m.shared[i] = sample.Unknown, 0; m.stated != nil {
			m.own[i] = m.stated[i]
		}
	}
}

// uncertainty returns the combined standard uncertainty of a cell, mmHg.
func (m *matState) uncertainty(cell int) float64 {
	return math.Sqrt(float64(m.own[cell]*m.own[cell]) + float64(m.shared[cell]*m.shared[cell]))
}

// uncertainties returns that of all cells. Roots cost more than nearly all else that
// is done with a cell, and few rules ask for them.
func (m *matState) uncertainties() []float64 {
	if !m.fresh {
		m.fresh, m.us = true, slices.Grow(m.us[:0], len(m.own))[:len(m.own)]
		for i := range m.us {
			m.us[i] = m.uncertainty(i)
		}
	}
	return m.us
}

func (p *place) setArea(a *area, m *matstat.Measure, at sample.Instant) {
	sigs := p.signals[a.signal:][:len(areaQuantities)]
	for k, v := range a.signals(m) {
		sig := &sigs[k]
		sig.Value, sig.Known = v, m.Known
		sig.At, sig.Until = at, p.feeds[p.mat.feed].until
		sig.U, sig.Shared, sig.Extrapolated, sig.Expired = sample.Unknown, sample.Unknown, false, false
	}
	if p.mat.doubted() && sigs[0].Value == sigs[0].Value {
		a.doubt.signals(a, m, sigs)
	}
}

// reckon works out when time alone will change something that people must be
// told of: an alert that becomes due while its values last, a raised alert that
// loses its signal, one put aside that is judged again as nobody knows whether
// there is somebody, or something in the life of one.
func (p *place) reckon() {
	p.due = p.lifeDue
	_, silence := p.firstSilence()
	for i := range p.sites {
		if turn := p.turnOf(&p.sites[i]); turn != sample.Never { // a silence before it leads here once more
			p.due = min(p.due, turn, silence)
		}
	}
	if p.aside > 0 { // until nobody knows whether there is somebody
		p.due = min(p.due, silence)
	}
	for _, w := range p.watches {
		in, ok, raised, feeds := w.next()
		silence, sources := sample.Never, 0
		for _, f := range feeds {
			silence = min(silence, p.feeds[f].until)
			sources++
		}
		switch at := p.at.Add(in); {
		case ok && at <= silence:
			p.due = min(p.due, at)
		case raised || sources > 1: // what others measure may be beyond a limit without the silent one
			p.due = min(p.due, silence)
		}
	}
	p.due = max(p.due, p.at) // what should have been by now is looked at now
}

// turnOf returns when a member of a site is dropped or comes back while any of the
// site's sources still has values; Never if none does.
func (p *place) turnOf(s *siteState) sample.Instant {
	in, ok := s.turns()
	if !ok {
		return sample.Never
	}
	turn := p.at.Add(in)
	for _, f := range s.feeds {
		if until := p.feeds[f].until; until != sample.Never && turn <= until {
			return turn
		}
	}
	return sample.Never
}

func (p *place) feedOf(source int) int {
	for f := range p.feeds {
		if p.feeds[f].source == source {
			return f
		}
	}
	return -1
}

// gateValues returns the signals' values and truths as gates read them.
func (p *place) gateValues() ([]float64, []sample.Truth) {
	for i := range p.signals {
		s := &p.signals[i]
		if p.values[i] = s.Value; s.Unit == Truths {
			p.truths[i] = truthOf(s.Value)
		}
	}
	return p.values, p.truths
}
