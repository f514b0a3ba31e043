package rules

import (
	"slices"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
	"weald/rules/matstat"
)

// NewEngine compiles a plan that Check found nothing wrong with; it panics on
// one that refers to what is not there. The plan must not change afterwards.
func NewEngine(plan *Plan, sink Sink) *Engine {
	e := &Engine{plan: plan, bySource: make([][]*place, len(plan.Sources)), last: sample.Past}
	for i := range plan.Places {
		p := newPlace(plan, i, sink)
		p.addRules(plan)
		for _, f := range p.feeds {
			e.bySource[f.source] = append(e.bySource[f.source], p)
		}
		e.places = append(e.places, p)
	}
	return e
}

func (w Where) matches(p *Place) bool {
	return (w.Place == "" || w.Place == p.ID) && (w.Kind == "" || w.Kind == p.Kind)
}

func newPlace(plan *Plan, index int, sink Sink) *place {
	spec := &plan.Places[index]
	p := &place{index: index, spec: spec, sources: plan.Sources, at: sample.Past, due: sample.Never, sink: sink, signals: spec.allSignals(), basic: len(spec.signals()), nobody: untold}
	for s := range spec.Sites {
		p.addSite(&spec.Sites[s])
	}
	if spec.Mat != nil {
		p.addMat(spec.Mat, plan.Lean)
	}
	return p
}

func (p *place) addRules(plan *Plan) {
	p.derive(func(name string) bool { return plan.speaksOf(p.spec, name) }, plan.Lean)
	for r := range plan.Rules {
		if plan.Rules[r].At.matches(p.spec) {
			p.watch(&plan.Rules[r])
		}
	}
	p.values = make([]float64, len(p.signals))
	p.truths = make([]sample.Truth, len(p.signals))
	p.addLives()
}

// feed returns the position of a source among the place's feeds.
func (p *place) feed(source int) int {
	if f := p.feedOf(source); f >= 0 {
		return f
	}
	p.feeds = append(p.feeds, feed{source: source, last: sample.Past, until: sample.Never, newest: sample.Past})
	return len(p.feeds) - 1
}

// signals returns the basic signals of a place, which every scan is tallied for.
func (p *Place) signals() (out []Signal) {
	add := func(name, unit string, members int) {
		out = append(out, newSignal(name, unit, members))
	}
	for i := range p.Sites {
		add(p.Sites[i].ID+".pressure", "mmHg", len(p.Sites[i].Channels))
	}
	if p.Mat == nil {
		return out
	}
	for _, q := range areaQuantities {
		add(WholeMat+"."+q.name, q.unit, p.Mat.Rows*p.Mat.Columns)
	}
	for _, r := range p.Mat.Regions {
		for _, q := range areaQuantities {
			add(r.ID+"."+q.name, q.unit, len(r.Cells))
		}
	}
	return out
}

// allSignals returns the signals of a place before its first reading: those of
// its sites, then those of its mat, then those of the regions, then what is
// made of them.
func (p *Place) allSignals() []Signal {
	out := p.signals()
	p.derivedSignals(func(name, unit string, members int) { out = append(out, newSignal(name, unit, members)) })
	return out
}

func newSignal(name, unit string, members int) Signal {
	return Signal{
		Name: name, Unit: unit, Value: sample.Unknown, U: sample.Unknown, Shared: sample.Unknown,
		At: sample.Past, Until: sample.Past, Members: members,
	}
}

func (p *place) addSite(spec *Site) {
	s := siteState{spec: spec, signal: len(p.sites)}
	for _, c := range spec.Channels {
		u := sample.Unknown
		if us := p.sources[c.Source].U; us != nil {
			u = us[c.Index]
		}
		s.feeds = append(s.feeds, p.feed(c.Source))
		s.members = append(s.members, member{value: sample.Unknown, u: u, stated: u})
	}
	p.sites = append(p.sites, s)
}

func (p *place) addMat(spec *Mat, lean bool) {
	cells := spec.Rows * spec.Columns
	m := &matState{
		spec: spec, feed: p.feed(spec.Source), at: sample.Past,
		values: make([]float64, cells), own: make([]float64, cells), shared: make([]float64, cells),
		stated: p.sources[spec.Source].U,
	}
	for i := range m.values {
		m.values[i] = sample.Unknown
	}
	if !lean {
		m.counted = cells
	}
	m.loaded = newLoaded(spec, m.counted)
	m.state()
	m.level = even(m.stated)
	var parts [][]int
	add := func(id string, cells []int) {
		m.areas = append(m.areas, area{
			runs: runsOf(cells), n: len(cells), cellMM: spec.PitchMM[0] * spec.PitchMM[1],
			signal: p.signalNamed(id + "." + areaQuantities[0].name),
		})
		parts = append(parts, cells)
	}
	all := make([]int, cells)
	for i := range all {
		all[i] = i
	}
	add(WholeMat, all)
	for _, r := range spec.Regions {
		add(r.ID, r.Cells)
	}
	m.stat = matstat.New(matstat.Grid{Rows: spec.Rows, Columns: spec.Columns, PitchMM: spec.PitchMM}, parts, matstat.PatchFor(spec.PitchMM))
	var rest []int
	rest, m.disjoint = spec.unnamed()
	m.rest = area{runs: runsOf(rest), n: len(rest)}
	p.mat = m
}

// watch applies a rule to the place. A rule for many places says nothing of
// those that lack what it watches.
func (p *place) watch(r *Rule) {
	if r.Limit == nil {
		p.apply(r)
		return
	}
	t, ok := p.spec.target(r.Limit.Watch)
	if !ok {
		return
	}
	g, gateFeeds := p.gate(r.While)
	key := alert.Key{Place: p.spec.ID, Rule: r.ID, Subject: t.subject}
	if t.cells {
		p.watches = append(p.watches, p.cellWatch(r, key, g, gateFeeds))
		return
	}
	i := slices.IndexFunc(p.signals, func(s Signal) bool { return s.Name == r.Limit.Watch })
	p.watches = append(p.watches, &signalWatch{
		standing: standing{rule: r, key: key, feeds: union(p.feedsOf(i), gateFeeds), spec: r.spec(), gate: g, since: sample.Past},
		signal:   i, band: r.band(r.Limit),
	})
}

func (p *place) cellWatch(r *Rule, key alert.Key, g gate, gateFeeds []int) *cellWatch {
	m := p.mat.spec
	n := m.Rows * m.Columns
	w := &cellWatch{rule: r, signal: r.Limit.Watch, feeds: union([]int{p.mat.feed}, gateFeeds), gate: g, band: r.band(r.Limit)}
	add := func(id string, cells []int) {
		w.groups = append(w.groups, group{key: alert.Key{Place: key.Place, Rule: key.Rule, Subject: id}, cells: cells, since: sample.Past})
	}
	var which []int
	for i := range m.Regions {
		if key.Subject == WholeMat || key.Subject == m.Regions[i].ID {
			add(m.Regions[i].ID, m.Regions[i].Cells)
		}
	}
	if key.Subject != WholeMat {
		which = w.groups[0].cells
	} else if rest, _ := m.unnamed(); len(rest) > 0 {
		add(WholeMat, rest) // they speak for the mat
	}
	w.cells = hold.NewCertainCells(n, which, r.spec(), w.band)
	return w
}

// unnamed returns the cells that are in no region, and whether none is in two.
func (m *Mat) unnamed() (rest []int, disjoint bool) {
	in := make([]int, m.Rows*m.Columns)
	disjoint = true
	for i := range m.Regions {
		for _, c := range m.Regions[i].Cells {
			in[c]++
			disjoint = disjoint && in[c] == 1
		}
	}
	for c, n := range in {
		if n == 0 {
			rest = append(rest, c)
		}
	}
	return rest, disjoint
}

// spec is the hold that the rule asks for.
func (r *Rule) spec() hold.Spec {
	return hold.Spec{OnDelay: r.OnDelay, OffDelay: r.OffDelay, ResetsAfter: r.ResetsAfter, ForgetAfter: r.ForgetAfter}
}

// band is the band of a limit with the rule's certainty.
func (r *Rule) band(l *Limit) hold.Certain { return l.band().At(r.certainty()) }

// certainty is what the rule asks for, or else the value itself.
func (r *Rule) certainty() float64 {
	if r.Certainty == 0 {
		return hold.Half
	}
	return r.Certainty
}

func (l *Limit) band() hold.Band {
	switch {
	case l.Above != nil:
		return hold.Above(*l.Above, l.Deadband)
	case l.Below != nil:
		return hold.Below(*l.Below, l.Deadband)
	}
	return hold.Outside(l.Outside[0], l.Outside[1], l.Deadband)
}

// feedsOf returns the feeds that a signal is made of.
func (p *place) feedsOf(signal int) []int {
	for i := range p.sites {
		if p.sites[i].signal == signal {
			return union(nil, p.sites[i].feeds)
		}
	}
	if signal < p.basic || p.mat != nil && len(p.feeds) == 1 {
		return []int{p.mat.feed}
	}
	all := make([]int, len(p.feeds)) // what is made of others rests on all of them
	for i := range all {
		all[i] = i
	}
	return all
}

func union(a, b []int) []int {
	out := slices.Concat(a, b)
	slices.Sort(out)
	return slices.Compact(out)
}
