package audit

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"strings"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Journal is one that audits what it keeps.
type Journal struct {
	journal.Journal
	key [sha256.Size]byte // is never kept: without it nobody can tell the salts
}

// Over returns a journal that keeps in j, and audits.
func Over(j journal.Journal) *Journal {
	over := &Journal{Journal: j}
	_, _ = rand.Read(over.key[:]) // never fails
	return over
}

// Append implements journal.Log. The position that it returns is that of the last of
// the given entries. Each of them that the chain covers is in the record with its
// link, or neither is.
func (j *Journal) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	salt, err := j.salts(entries)
	if err != nil {
		return 0, err
	}
	link, any := linkOf(entries, salt)
	if !any {
		return j.Journal.Append(ctx, entries...)
	}
	p, err := j.Journal.Append(ctx, append(entries[:len(entries):len(entries)], link)...)
	if err != nil {
		return 0, err
	}
	return p - 1, nil
}

// salts returns what makes salts for the link of some entries: the same ones for the
// same entries, so that a call that is made again is the same call.
func (j *Journal) salts(entries []record.Entry) (func() []byte, error) {
	h := hmac.New(sha256.New, j.key[:])
	for i := range entries {
		if !covers(&entries[i]) {
			continue
		}
		b, err := entries[i].JSON()
		if err != nil {
			return nil, err
		}
		h.Write(b)
	}
	seed := h.Sum(nil)
	n := uint64(0)
	return func() []byte {
		n++
		one := hmac.New(sha256.New, seed)
		one.Write(binary.BigEndian.AppendUint64(nil, n))
		return one.Sum(nil)[:record.SaltSize]
	}, nil
}

// Note keeps what somebody did that is in no other entry. It is on the disk when Note
// returns nil. A deed without a time was done when it was written.
func Note(ctx context.Context, log journal.Log, d record.Deed) error {
	if d.At == 0 {
		d.At = d.Written
	}
	_, err := log.Append(ctx, d.Entry(salt))
	return err
}

// salt returns one that nobody can guess.
func salt() []byte {
	b := make([]byte, record.SaltSize)
	_, _ = rand.Read(b) // never fails
	return b
}

// linkOf returns the link that covers those of some entries that are covered; false
// if there are none. It tells of the first that somebody did.
func linkOf(entries []record.Entry, salt func() []byte) (record.Entry, bool) {
	var vouched []record.Cover
	first := -1 // what is vouched for must reach without a gap to the end
	for i := range entries {
		if covers(&entries[i]) && first < 0 {
			first = i
		}
		if first >= 0 {
			if entries[i].Body == nil {
				return record.Entry{}, false // which is refused
			}
			vouched = append(vouched, record.Cover{Kind: entries[i].Body.Kind(), Salt: salt()})
		}
	}
	if first < 0 {
		return record.Entry{}, false
	}
	told := &entries[first]
	for i := first; i < len(entries); i++ {
		if e := &entries[i]; covers(e) && e.Body.Kind() != record.KindTransition {
			told = e
			break
		}
	}
	d := deedOf(told)
	link := d.Entry(salt)
	a := link.Body.(record.Audit)
	a.Covers = vouched
	link.Body = a
	return link, true
}

// deedOf says what an entry that is covered is about, in the words of a link. What
// somebody wrote stays in the entry alone.
func deedOf(e *record.Entry) record.Deed {
	d := record.Deed{At: e.At, Written: e.Written, Place: e.Place, Who: e.Author}
	switch b := e.Body.(type) {
	case record.Transition:
		d.What = Alerts
	case record.Action:
		d.What, d.Subject = b.What, b.Subject
		if named(b.What) {
			d.Subject, d.Text = "", b.Subject
		}
	case record.Mark:
		d.What = "mark"
	case record.Session:
		d.What, d.Subject, d.Person = "session-"+b.What, b.ID, b.Code
	case record.Attempt:
		d.What, d.Subject, d.Person = "attempt-"+b.What, b.ID, b.Code
	case record.Config:
		d.What, d.Subject = Configured, "version "+count(b.Version)
	case record.Calibration:
		d.What, d.Subject = "calibrate", channel(b.Record.Bridge, b.Record.Source, b.Record.Channel)
	case record.Refused:
		d.What, d.Subject = "calibration-refused", channel(b.Refused.Bridge, b.Refused.Source, b.Refused.Channel)
	case record.Check:
		d.What, d.Subject = "check", b.Spot.Record
	case record.Zeroing:
		d.What, d.Subject = "zero", b.Zeroing.Bridge+"/"+b.Zeroing.Source
		if b.Zeroing.Undo {
			d.What = "zero-undone"
		}
	}
	if d.What == "" { // an action of nothing
		d.What = string(e.Body.Kind())
	}
	return d
}

// named reports whether the subject of an action is a name that people gave, of an
// account, a token or a screen: it is sealed, as that can be somebody's.
func named(what string) bool {
	return strings.HasPrefix(what, "account-") || strings.HasPrefix(what, "token-") || strings.HasPrefix(what, "screen-")
}

// Retire says, before it is done, that entries of a kind go up to a position, because
// keep: asks for it.
func Retire(ctx context.Context, log journal.Log, now sample.Instant, kind record.Kind, through record.Position) error {
	link := (&record.Deed{At: now, Written: now, What: Deleted, Subject: string(kind)}).Entry(salt)
	a := link.Body.(record.Audit)
	a.Kinds, a.Through = []record.Kind{kind}, through
	link.Body = a
	_, err := log.Append(ctx, link)
	return err
}
