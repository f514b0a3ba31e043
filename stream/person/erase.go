package person

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/audit"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// Errors of an erasure that has to wait.
var (
	// ErrRecent means that the next start has to judge readings of the person again.
	ErrRecent = errors.New("it ended less than a minute before the record does")
	// ErrStanding means that the rules still know the code: it has an alert on.
	ErrStanding = errors.New("what the rules know of alerts that are not over has the code")
)

// An Erasure is one that can be made.
type Erasure struct {
	Code, Pseudonym string
	Stays           []Stay
	By              string // who makes it
	At              sample.Instant

	// Plans are those by which the places were measured during a stay.
	Plans func(*Stay) ([]*rules.Plan, error)
}

// Erase takes a person out of a record that nobody else uses. Its errors wrap ErrLasts,
// ErrRecent or ErrStanding, and nothing is changed then.
func (x *Erasure) Erase(ctx context.Context, store *sqlite.Store) (sqlite.Reworked, error) {
	if err := x.May(ctx, store); err != nil {
		return sqlite.Reworked{}, err
	}
	var err error
	if x.Pseudonym == "" {
		x.Pseudonym, err = pseudonym(func(code string) bool {
			named, e := Named(ctx, store, code)
			err = errors.Join(err, e)
			return len(named) > 0
		})
		if err != nil {
			return sqlite.Reworked{}, err
		}
	}
	e := eraser{Erasure: x, word: word{x.Code, x.Pseudonym}, changed: map[record.Position]bool{}, ids: map[string]string{}}
	w := sqlite.Rework{Entry: e.entry, Document: e.document, Broken: e.word.in, Salt: salt, Link: func(changed []record.Cover) record.Entry {
		link := (&record.Deed{At: x.At, Written: x.At, What: audit.Erased, Who: x.By}).Entry(salt)
		a := link.Body.(record.Audit)
		a.Covers = changed
		link.Body = a
		return link
	}}
	for i := range x.Stays {
		s := &x.Stays[i]
		w.Spans = append(w.Spans, sqlite.Span{Place: s.Place, From: s.From, To: s.To})
		plans, err := x.Plans(s)
		if err != nil {
			return sqlite.Reworked{}, err
		}
		for _, plan := range plans {
			w.Blanks = append(w.Blanks, blanks(plan, s)...)
		}
	}
	n, err := store.Rework(ctx, w)
	return n, errors.Join(err, e.err)
}

// May says why an erasure has to wait, nil for no reason. A daemon may use the record.
func (x *Erasure) May(ctx context.Context, store *sqlite.Store) error {
	if err := Ended(x.Stays); err != nil {
		return err
	}
	w, until, standing := word{code: x.Code}, sample.Past, false
	err := store.Snapshots(ctx, func(s record.Snapshot) {
		until, standing = s.At, w.in(s.Body)
	})
	if err != nil {
		return err
	}
	head, err := store.Head(ctx)
	if err != nil {
		return err
	}
	for i := range x.Stays {
		if s := &x.Stays[i]; s.To > until && head.Ord > 0 {
			return fmt.Errorf("%v: %w", s, ErrRecent)
		}
	}
	if standing {
		return ErrStanding
	}
	return nil
}

func salt() []byte {
	b := make([]byte, record.SaltSize)
	_, _ = rand.Read(b) // never fails
	return b
}

// An eraser goes through a record once, from its first entry to its last.
type eraser struct {
	*Erasure
	word    word
	changed map[record.Position]bool
	ids     map[string]string // of calibrations: what they are called now
	err     error
}

// entry changes an entry, and reports whether it has.
func (x *eraser) entry(e *record.Entry) bool {
	if a, ok := e.Body.(record.Audit); ok {
		return x.link(e, a)
	}
	former := ""
	if c, ok := e.Body.(record.Calibration); ok {
		former = c.Record.ID()
	}
	changed := x.silence(e)
	reworded, err := e.Reword(x.word.out)
	if err != nil {
		x.err = errors.Join(x.err, fmt.Errorf("entry %d: %w", e.Position, err))
		return false
	}
	changed = changed || reworded
	switch b := e.Body.(type) {
	case record.Calibration:
		if changed {
			x.ids[former] = b.Record.ID()
		}
	case record.Check:
		if now, ok := x.ids[b.Spot.Record]; ok {
			b.Spot.Record, changed = now, true
			e.Body = b
		}
	case record.Config:
		if changed {
			b.Hash = record.NewConfig(b.Version, b.Text).Hash
			e.Body = b
		}
	}
	if changed {
		x.changed[e.Position] = true
	}
	return changed
}

// silence takes away what people wrote where and while the person was there, and what
// was read of them. It reports whether there was anything.
func (x *eraser) silence(e *record.Entry) (changed bool) {
	here, id := false, map[string]bool{}
	for i := range x.Stays {
		here = here || x.Stays[i].has(e.Place, e.At)
		id[x.Stays[i].ID] = true
	}
	drop := func(text *string) {
		changed = changed || *text != ""
		*text = ""
	}
	switch b := e.Body.(type) {
	case record.State:
		if x.word.in(b.Body) { // what a start goes on from later is in a snapshot
			e.Body, changed = record.State{}, true
		}
	case record.Mark:
		if here {
			drop(&b.Text)
			e.Body = b
		}
	case record.Action:
		if here {
			drop(&b.Reason)
			e.Body = b
		}
	case record.Transition:
		if here && b.Event.Why != "" {
			b.Event.Text = strings.ReplaceAll(b.Event.Text, ": "+b.Event.Why, "")
			drop(&b.Event.Why)
			e.Body = b
		}
	case record.Session:
		if id[b.ID] {
			drop(&b.Notes)
			e.Body = b
		}
	case record.Attempt:
		if !id[b.ID] {
			break
		}
		drop(&b.Notes)
		if b.Read != nil {
			read := *b.Read
			read.Values = append(read.Values[:0:0], read.Values...)
			for i := range read.Values {
				v := &read.Values[i]
				v.MMHg, v.U, v.Shared = sample.Unknown, sample.Unknown, sample.Unknown
			}
			b.Read, changed = &read, true
		}
		e.Body = b
	}
	return changed
}

// link takes away what a link of the chain says of the person, and with what somebody
// could try out what an entry said that it covers.
func (x *eraser) link(e *record.Entry, a record.Audit) (changed bool) {
	for _, s := range []*record.Sealed{&a.Who, &a.Person, &a.Text} {
		if x.word.in([]byte(s.Text)) {
			s.Take()
			changed = true
		}
	}
	covers := append([]record.Cover(nil), a.Covers...)
	for i := range covers {
		if x.changed[covers[i].Position] && covers[i].Salt != nil {
			covers[i].Salt, changed = nil, true
		}
	}
	if changed {
		a.Covers = covers
		e.Body = a
		x.changed[e.Position] = true
	}
	return changed
}

func (x *eraser) document(d *record.Document) bool {
	name, body := string(x.word.out([]byte(d.Name))), x.word.out(d.Body)
	changed := name != d.Name || x.word.in(d.Body)
	d.Name, d.Body = name, body
	return changed
}
