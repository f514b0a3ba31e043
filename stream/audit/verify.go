package audit

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A Report is what a look at a whole chain has found.
type Report struct {
	First record.Link     // the first link that there is; zero where there is none
	From  record.Position // where it lies: what is before it is in no chain
	Last  record.Link     // the end of the chain, to be written down somewhere else

	Covered int // entries that are as a link says
	Deleted int // covered, and deleted on purpose since, which a link says
	Erased  int // of a person, changed or emptied by an erasure, which a link says

	// Findings are what does not fit, a sentence each; none if all does.
	Findings []string
}

// mostFindings is how many findings a report has at the most; then it says that there
// are more.
const mostFindings = 1000

// Verify reads a whole record and holds its chain against itself, and against heads,
// which somebody has noted before: each must be in the chain. Its error says that it
// could not read on.
func Verify(ctx context.Context, j journal.Chained, heads ...record.Link) (Report, error) {
	v := verifier{heads: map[uint64]record.Link{}, later: map[record.Position]record.Cover{}, gone: map[record.Kind]record.Position{}}
	for _, h := range heads {
		v.heads[h.Number] = h
	}
	// What was changed or deleted on purpose is said by a link behind it.
	for e, err := range j.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAudit}}) {
		var loss *journal.Loss
		switch {
		case errors.As(err, &loss): // which is found below
		case err != nil:
			return Report{}, err
		default:
			v.foresee(&e)
		}
	}
	err := v.read(j.Bodies(ctx))
	return v.Report, err
}

// A verifier goes through a record once.
type verifier struct {
	Report
	heads map[uint64]record.Link // those that were noted and have not been met

	later map[record.Position]record.Cover // what an erasure vouches for
	gone  map[record.Kind]record.Position  // up to where a kind was deleted

	begun   bool
	next    record.Position // the one that has to come
	pending []lying         // entries since the last link, in their order
}

// A lying is what is known of an entry that no link has covered yet.
type lying struct {
	position record.Position
	kind     record.Kind // "" where nothing can be read
	sum      record.Sum
	damaged  bool
}

func (v *verifier) find(format string, args ...any) {
	switch {
	case len(v.Findings) < mostFindings:
		v.Findings = append(v.Findings, fmt.Sprintf(format, args...))
	case len(v.Findings) == mostFindings:
		v.Findings = append(v.Findings, "and more, which are not listed")
	}
}

func (v *verifier) foresee(e *record.Entry) {
	a := e.Body.(record.Audit)
	for _, c := range a.Covers {
		if a.What == Erased {
			v.later[c.Position] = c
		}
	}
	for _, k := range a.Kinds {
		v.gone[k] = max(v.gone[k], a.Through)
	}
}

func (v *verifier) read(bodies iter.Seq2[journal.Body, error]) error {
	v.next = 1
	for b, err := range bodies {
		if err != nil {
			return err
		}
		if b.Position > v.next && v.begun {
			v.missing(v.next, b.Position-1)
		}
		v.next = b.Position + 1
		l := lying{position: b.Position, sum: record.SumOf(b.Bytes)}
		e, err := record.DecodeEntry(b.Bytes)
		switch {
		case errors.Is(err, record.ErrForm): // it was deleted on purpose
		case err != nil:
			l.damaged = true
			v.find("entry %d cannot be read: %v", b.Position, err)
		case e.Position != b.Position:
			l.damaged = true
			v.find("entry %d lies in the place of entry %d", e.Position, b.Position)
		default:
			l.kind = e.Body.Kind()
		}
		if l.kind == record.KindAudit {
			v.link(&e, l.sum)
			continue
		}
		v.pending = append(v.pending, l)
	}
	v.uncovered()
	for _, h := range v.heads {
		if h.Number > v.Last.Number {
			v.find("the chain ends at link %d: link %d, which was noted, has been cut off, or the record is an older copy", v.Last.Number, h.Number)
		} else {
			v.find("link %d, which was noted, is not in the chain", h.Number)
		}
	}
	return nil
}

func (v *verifier) missing(first, last record.Position) {
	if first == last {
		v.find("entry %d is missing", first)
		return
	}
	v.find("entries %d to %d are missing", first, last)
}

// link holds one against the one before it and against what it covers.
func (v *verifier) link(e *record.Entry, sum record.Sum) {
	a := e.Body.(record.Audit)
	named, sound := a.Link(e)
	if !sound {
		v.find("link %d (entry %d) was edited: its hash is not that of what it says", a.Number, e.Position)
	}
	switch {
	case !v.begun:
		v.First, v.From = named, e.Position
		if a.Number != 1 {
			v.find("the chain begins with link %d: those before it are missing", a.Number)
		}
		v.pending = v.beforeTheFirst(&a)
	case a.Number != v.Last.Number+1:
		v.find("link %d (entry %d) follows link %d: one is missing, or out of its place", a.Number, e.Position, v.Last.Number)
	case a.Prev != v.Last.Hash:
		v.find("link %d (entry %d) does not follow from link %d as that is now: one of them was exchanged", a.Number, e.Position, v.Last.Number)
	}
	v.begun, v.Last = true, named
	if h, ok := v.heads[a.Number]; ok {
		if delete(v.heads, a.Number); h != named {
			v.find("link %d is not the one that was noted: the chain was made anew, from there or from before", a.Number)
		}
	}
	v.taken(e, &a, sum)
	v.covers(&a)
	v.uncovered()
}

// beforeTheFirst leaves out what was kept before there was a chain.
func (v *verifier) beforeTheFirst(a *record.Audit) []lying {
	for i, l := range v.pending {
		for _, c := range a.Covers {
			if c.Position == l.position {
				return v.pending[i:]
			}
		}
	}
	return nil
}

// taken holds a link of which something was taken away against the erasure that
// says so.
func (v *verifier) taken(e *record.Entry, a *record.Audit, sum record.Sum) {
	c, said := v.later[e.Position]
	switch {
	case said && !c.Holds(sum):
		v.find("link %d (entry %d) is not as the erasure left it", a.Number, e.Position)
	case said:
		v.Erased++
	case a.Who.Gone || a.Person.Gone || a.Text.Gone:
		v.find("something was taken away from link %d (entry %d), and no erasure says so", a.Number, e.Position)
	}
}

// covers holds what lies just before a link against it. What is left in pending is
// not covered by it.
func (v *verifier) covers(a *record.Audit) {
	if a.What == Erased {
		return // which are looked at where they lie
	}
	for _, c := range a.Covers {
		at := slices.IndexFunc(v.pending, func(l lying) bool { return l.position == c.Position })
		if at < 0 {
			v.find("entry %d, which link %d covers, is not in its place before it", c.Position, a.Number)
			continue
		}
		l := v.pending[at]
		v.pending = slices.Delete(v.pending, at, at+1)
		v.hold(l, c, a.Number)
	}
}

func (v *verifier) hold(l lying, c record.Cover, link uint64) {
	later, changed := v.later[l.position]
	switch {
	case l.damaged: // it was found
	case l.kind == "" && l.position <= v.gone[c.Kind]:
		v.Deleted++
	case l.kind == "":
		v.find("entry %d (%s) was deleted, and no link says so", l.position, c.Kind)
	case changed && later.Holds(l.sum):
		v.Erased++
	case changed:
		v.find("entry %d (%s) is not as the erasure left it", l.position, c.Kind)
	case c.Holds(l.sum):
		v.Covered++
	default:
		v.find("entry %d (%s) was edited: it is not what link %d covers", l.position, c.Kind, link)
	}
}

// uncovered finds what should have a link, and forgets what lay before one.
func (v *verifier) uncovered() {
	for _, l := range v.pending {
		if v.begun && covered[l.kind] {
			v.find("entry %d (%s) is in no link: it was put in, or kept by an earlier version of this program", l.position, l.kind)
		}
	}
	v.pending = v.pending[:0]
}

// Head returns the last link that can be read; false where there is none.
func Head(ctx context.Context, log journal.Log) (record.Link, bool, error) {
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAudit}, Newest: true}), nil) {
		if err != nil {
			return record.Link{}, false, err
		}
		a := e.Body.(record.Audit)
		return record.Link{Number: a.Number, Hash: a.Hash}, true, nil
	}
	return record.Link{}, false, nil
}
