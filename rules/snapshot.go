package rules

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/state"
)

// snapshotVersion is the first byte of a snapshot. It changes when the meaning
// of what follows does.
//
// Version 2 has the lives of the alerts behind the watches; a snapshot of version
// 1 is read, and what is raised in it becomes unacknowledged.
//
// Version 3 has, for every site, the members with their uncertainties and how
// long they have disagreed, the uncertainties of a mat's cells, and those of the
// scans that wait. A place goes on from version 2 with what the configuration
// states and with members that all agree.
//
// Version 4 has the parts of those of a mat's cells apart; of version 3 all are
// taken to be of the cells alone until the next scan. It has more of scans that
// wait, and of rules of quality, which begin anew.
//
// Version 5 has the levels of batteries, in scans that wait and of rules of quality,
// which begin anew.
//
// Version 6 has what people have said of how limbs rest; of version 5 nothing was.
//
// Version 7 says where the lives of the alerts begin, so that Stood finds them
// without the plan, and names the sources of the scans that wait by their order in
// the place: in another plan they may have other numbers.
const snapshotVersion = 7

// SnapshotPlace adds the state of a place to b: every accumulator, memory and
// raised alert, and the values that its signals last. RestorePlace takes it up
// again, in this process or another, and the place then goes on exactly as this
// one does.
func (e *Engine) SnapshotPlace(place int, b []byte) []byte {
	p := e.places[place]
	b = append(b, snapshotVersion)
	b = binary.LittleEndian.AppendUint64(b, p.spec.fingerprint(p.sources))
	start := len(b)
	w := writer{binary.LittleEndian.AppendUint32(b, 0)} // where the lives begin
	w.instant(p.at)
	w.instant(e.last)
	for i := range p.feeds {
		f := &p.feeds[i]
		w.instant(f.last)
		w.instant(f.until)
		w.instant(f.newest)
	}
	for i := range p.sites {
		p.sites[i].snapshot(&w)
	}
	if m := p.mat; m != nil {
		w.instant(m.at)
		w.floats(m.values)
		m.snapshot(&w)
		w.b = m.loaded.Append(w.b)
	}
	for i := range p.signals {
		w.instant(p.signals[i].At)
	}
	for _, d := range p.derivations {
		w.b = state.Append(w.b, d)
	}
	for _, l := range p.limbs() {
		w.b = state.Append(w.b, l.limb.MarksCode())
	}
	w.count(len(p.queue.waiting))
	for _, s := range p.queue.waiting {
		w.scan(p.feedOf(s.Source), s)
	}
	w.count(len(p.watches))
	for _, watch := range p.watches {
		w.string(watch.called())
		w.count(int(watch.judges().fingerprint() >> 1))
		at := len(w.b)
		w.b = binary.LittleEndian.AppendUint32(w.b, 0)
		watch.snapshot(&w)
		binary.LittleEndian.PutUint32(w.b[at:], uint32(len(w.b)-at-4))
	}
	binary.LittleEndian.PutUint32(w.b[start:], uint32(len(w.b)-start-4))
	p.snapshotLives(&w)
	return w.b
}

// RestorePlace takes up a snapshot. Rules that have changed since begin anew,
// the others go on. The error says that nothing could be taken up, because the
// place itself has changed or the bytes are damaged; the place is then as a new
// engine's.
func (e *Engine) RestorePlace(place int, b []byte) error {
	p := e.places[place]
	if len(b) < 9 || b[0] == 0 || b[0] > snapshotVersion {
		return fmt.Errorf("place %s: %w", p.spec.ID, hold.ErrSnapshot)
	}
	if binary.LittleEndian.Uint64(b[1:]) != p.spec.fingerprint(p.sources) {
		return fmt.Errorf("place %s has been changed since: %w", p.spec.ID, hold.ErrSnapshot)
	}
	r := reader{b: b[9:]}
	if b[0] >= 7 {
		r.uint32()
	}
	fresh := e.again(p)
	last := fresh.restore(&r, b[0])
	if r.bad || len(r.b) != 0 {
		return fmt.Errorf("place %s: %w", p.spec.ID, hold.ErrSnapshot)
	}
	*p = *fresh
	e.last = max(e.last, last)
	return nil
}

// again compiles a place anew.
func (e *Engine) again(p *place) *place {
	fresh := newPlace(e.plan, p.index, p.sink)
	fresh.addRules(e.plan)
	return fresh
}

func (p *place) restore(r *reader, version byte) (last sample.Instant) {
	p.at, last = r.instant(), r.instant()
	for i := range p.feeds {
		f := &p.feeds[i]
		f.last, f.until, f.newest = r.instant(), r.instant(), r.instant()
	}
	for i := range p.sites {
		p.sites[i].restore(r, version)
	}
	if m := p.mat; m != nil {
		m.at = r.instant()
		r.floats(m.values)
		if version >= 3 {
			m.restore(r, version)
		}
		r.use(m.loaded.Read)
	}
	at := make([]sample.Instant, len(p.signals))
	for i := range at {
		at[i] = r.instant()
	}
	for _, d := range p.derivations {
		r.use(func(b []byte) ([]byte, error) { return state.Read(b, d) })
	}
	if version >= 6 {
		for _, l := range p.limbs() {
			r.use(func(b []byte) ([]byte, error) { return state.Read(b, l.limb.MarksCode()) })
		}
	}
	for range r.count(r.left()) {
		s := r.scan(version)
		if version >= 7 && s.Source < len(p.feeds) {
			s.Source = p.feeds[s.Source].source
		} else if version >= 7 {
			r.bad = true
			return last
		}
		if p.feedOf(s.Source) < 0 || len(s.Values) != p.sources[s.Source].Channels {
			r.bad = true
			return last
		}
		p.queue.put(&s)
	}
	p.remake(at)
	p.restoreWatches(r)
	if version >= 2 {
		p.restoreLives(r)
	}
	if !r.bad {
		p.reconcile()
		p.reckon()
	}
	return last
}

// remake makes the signals of the values that were restored, as they were at
// the given instants.
func (p *place) remake(at []sample.Instant) {
	for i := range p.sites {
		if s := p.sites[i].signal; at[s] != sample.Past {
			p.updateSite(&p.sites[i], at[s])
		}
	}
	if m := p.mat; m != nil && at[m.areas[0].signal] != sample.Past {
		p.updateMat(at[m.areas[0].signal])
	}
	for _, d := range p.derivations {
		if when := at[d.first()]; when != sample.Past {
			d.show(p, when)
		}
	}
}

func (p *place) restoreWatches(r *reader) {
	for range r.count(r.left()) {
		id, print := r.string(), uint64(r.count(math.MaxInt64))
		state := reader{b: r.bytes(int(r.uint32()))}
		for _, w := range p.watches {
			if w.called() == id && w.judges().fingerprint()>>1 == print {
				w.restore(&state)
				r.bad = r.bad || state.bad || len(state.b) != 0
			}
		}
	}
}

// fingerprint tells places apart whose state is not the same kind of thing.
func (p *Place) fingerprint(sources []Source) uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, p.ID, p.Kind)
	for _, s := range p.allSignals() {
		fmt.Fprint(h, "|", s.Name)
	}
	for _, s := range p.Sites {
		fmt.Fprint(h, "|", s.ID)
		for _, c := range s.Channels {
			fmt.Fprint(h, "|", sources[c.Source].ID, "/", c.Index)
		}
	}
	if m := p.Mat; m != nil {
		fmt.Fprint(h, "|", sources[m.Source].ID, m.Rows, m.Columns, m.LoadedAbove, m.LoadedResets, m.Head, m.FromBelow, m.Regions)
	}
	return h.Sum64()
}

// fingerprint tells rules apart that would judge differently.
func (r *Rule) fingerprint() uint64 {
	h := fnv.New64a()
	if l := r.Limit; l != nil {
		fmt.Fprint(h, r.ID, "|", l.Watch, "|", l.band(), "|", l.Deadband)
	} else {
		fmt.Fprint(h, r.ID, "|", r.Kind(), "|", r.settings())
	}
	if r.certainty() != hold.Half {
		fmt.Fprint(h, "|", r.Certainty)
	}
	fmt.Fprint(h, "|", r.OnDelay, r.OffDelay, r.ResetsAfter, r.ForgetAfter, "|", r.while())
	return h.Sum64()
}

// settings are those of a rule's kind, as they differ between rules.
func (r *Rule) settings() string {
	switch {
	case r.Graduation != nil:
		return fmt.Sprintf("%v", *r.Graduation)
	case r.Exposure != nil:
		return fmt.Sprintf("%v", *r.Exposure)
	case r.Relief != nil:
		return fmt.Sprintf("%v", *r.Relief)
	case r.Turn != nil:
		return fmt.Sprintf("%v", *r.Turn)
	case r.Rate != nil:
		return fmt.Sprintf("%v", *r.Rate)
	case r.Quality != nil:
		return fmt.Sprintf("%v", *r.Quality)
	case r.Drift != nil:
		return fmt.Sprintf("%v", *r.Drift)
	case r.Swing != nil:
		return fmt.Sprintf("%v %v %v", r.Swing.Site, r.Swing.band(), r.Swing.Deadband)
	}
	return r.Formula
}
