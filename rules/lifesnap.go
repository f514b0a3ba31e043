package rules

import (
	"weald/ingest/sample"
	"weald/rules/alert"
)

// snapshotLives writes the lives of a place's alerts, each with what names it.
func (p *place) snapshotLives(w *writer) {
	w.count(len(p.lives))
	var b []byte
	for i := range p.lives {
		l := &p.lives[i]
		w.string(l.base.Rule)
		w.string(l.base.Subject)
		b = l.Append(b[:0])
		w.string(string(b))
	}
}

// restoreLives takes up the lives of the alerts that there still are. What people
// have put aside stays so although the rule has been changed.
func (p *place) restoreLives(r *reader) {
	for range r.count(r.left()) {
		k := alert.Key{Place: p.spec.ID, Rule: r.string(), Subject: r.string()}
		state := r.string()
		i, ok := p.byKey[k]
		if !ok || r.bad {
			continue
		}
		l := &p.lives[i]
		var rest []byte
		var err error
		l.Life, rest, err = alert.ReadLife(&l.spec, []byte(state))
		r.bad = r.bad || err != nil || len(rest) != 0
		if l.nobody = l.Suppressed; l.nobody {
			p.aside++
		}
	}
}

// reconcile makes lives and holds agree, where they were not written together: an
// alert whose rule has been changed since is over, for its hold begins anew, and
// one of a snapshot without lives is raised. One that was put aside as there was
// nobody is judged again where its rule has become one that needs nobody, and one
// whose rule has come to call the next tier sooner calls it now. What has to be told
// is told with what the place finds next.
func (p *place) reconcile() {
	for _, w := range p.watches {
		for _, h := range w.progress(p, nil) {
			l := &p.lives[p.byKey[h.Key]]
			e := l.base
			switch {
			case l.Holds && !h.Raised:
				e.What, e.At, e.Held = alert.Cleared, p.at, p.at.Sub(l.Since)
				e.Text = "the rule has been changed and judges anew; the alert stood for " + Duration(e.Held)
				p.events = append(p.events, e)
			case !l.Holds && h.Raised:
				e.What, e.At = alert.Raised, h.Since
				l.Hold(&l.spec, e, nil)
			}
			if l.nobody && !w.judges().needsBody() { // nobody would ever take it back
				l.nobody, p.aside = false, p.aside-1
				e = l.base
				e.What, e.At = alert.WasUnsuppressed, p.at
				p.events = append(p.events, e)
			}
		}
	}
	p.lifeDue = sample.Never
	for i := range p.lives {
		l := &p.lives[i]
		if after := l.spec.EscalateAfter; l.Tier > 0 && after > 0 && l.TierSince.Add(after) < p.at {
			l.TierSince = p.at.Add(-after)
		}
		p.lifeDue = min(p.lifeDue, l.Next(&l.spec))
	}
}
