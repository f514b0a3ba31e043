package seatlink

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// What people do with links, and how their subjects begin, as the record writes it.
const (
	made      = "seat-link-made"
	withdrawn = "seat-link-withdrawn"
	subject   = "seat link "
)

// MostAlive is how many links of one seat work at the same time.
const MostAlive = 10

// Errors of what people ask for.
var (
	ErrNone    = errors.New("there is no such link")
	ErrGone    = errors.New("it has been withdrawn already")
	ErrTooMany = fmt.Errorf("%d links of this seat work already: withdraw one first", MostAlive)
)

// A Link is what is known of one, which is not its key.
type Link struct {
	ID    string // names it; opens nothing
	Place string
	At    sample.Instant // when it was made
	By    string         // the code of who made it
	Why   string

	WithdrawnAt sample.Instant // Never while it works
	WithdrawnBy string

	Used sample.Instant // when it was last used since the start; Past if it was not
}

// A Deed is who makes or withdraws a link, when and why.
type Deed struct {
	At, Written sample.Instant
	By, Why     string
}

type hash [sha256.Size]byte

// Links are all links of a record. Any goroutine may use them.
type Links struct {
	log journal.Log

	change sync.Mutex // held while something is changed: on the disk, and then in memory

	mu     sync.Mutex
	all    []Link       // guarded by mu, as is all below; in the order of their making
	byHash map[hash]int // also of those withdrawn
}

// Read reads the links of a record. What is damaged of it is left out, and a link
// whose making is, opens nothing.
func Read(ctx context.Context, log journal.Log) (*Links, error) {
	l := &Links{log: log, byHash: map[hash]int{}}
	for e, err := range journal.Readable(log.Entries(ctx, journal.Query{Kinds: []record.Kind{record.KindAction}}), nil) {
		if err != nil {
			return nil, fmt.Errorf("the links of seats cannot be read: %w", err)
		}
		l.apply(&e)
	}
	return l, nil
}

// apply enters what an action did with a link, if it did.
func (l *Links) apply(e *record.Entry) {
	a := e.Body.(record.Action)
	id, ours := strings.CutPrefix(a.Subject, subject)
	if !ours {
		return
	}
	switch a.What {
	case made:
		plain, err := hex.DecodeString(a.Text)
		if err != nil || len(plain) != len(hash{}) {
			return
		}
		h := hash(plain)
		l.byHash[h] = len(l.all)
		l.all = append(l.all, Link{ID: id, Place: e.Place, At: e.At, By: e.Author, Why: a.Reason, WithdrawnAt: sample.Never, Used: sample.Past})
	case withdrawn:
		if i := l.index(id); i >= 0 {
			l.all[i].WithdrawnAt, l.all[i].WithdrawnBy = e.At, e.Author
		}
	}
}

func (l *Links) index(id string) int {
	return slices.IndexFunc(l.all, func(x Link) bool { return x.ID == id })
}

// Make makes a link for a seat and returns it with its key, which nobody can have
// again. It is in the record when Make returns. Its errors wrap ErrTooMany, or are
// those of journal.Log.Append.
func (l *Links) Make(ctx context.Context, place string, d Deed) (Link, string, error) {
	l.change.Lock()
	defer l.change.Unlock()
	alive := 0
	for _, x := range l.All() {
		if x.Place == place && x.WithdrawnAt == sample.Never {
			alive++
		}
	}
	if alive >= MostAlive {
		return Link{}, "", ErrTooMany
	}
	key := rand.Text()
	h := sha256.Sum256([]byte(key))
	err := l.do(ctx, place, d, record.Action{What: made, Subject: subject + "l-" + strings.ToLower(rand.Text()[:8]), Reason: d.Why, Text: hex.EncodeToString(h[:])})
	if err != nil {
		return Link{}, "", err
	}
	all := l.All()
	return all[len(all)-1], key, nil
}

// Withdraw ends a link at once. That is in the record when it returns. Its errors
// wrap ErrNone or ErrGone, or are those of journal.Log.Append, and the link works
// on then, unless they wrap journal.ErrLater.
func (l *Links) Withdraw(ctx context.Context, id string, d Deed) (Link, error) {
	l.change.Lock()
	defer l.change.Unlock()
	was := l.All()
	i := slices.IndexFunc(was, func(x Link) bool { return x.ID == id })
	switch {
	case i < 0:
		return Link{}, fmt.Errorf("%s: %w", id, ErrNone)
	case was[i].WithdrawnAt != sample.Never:
		return Link{}, fmt.Errorf("%s: %w", id, ErrGone)
	}
	err := l.do(ctx, was[i].Place, d, record.Action{What: withdrawn, Subject: subject + id, Reason: d.Why})
	return l.All()[i], err
}

// do keeps an action, and does it when it is kept, or will be. The caller holds change; whoever opens
// a link waits for no disk, and no server.
func (l *Links) do(ctx context.Context, place string, d Deed, a record.Action) error {
	e := record.Entry{At: d.At, Written: d.Written, Place: place, Author: d.By, Body: a}
	_, err := l.log.Append(ctx, e)
	if err != nil && !errors.Is(err, journal.ErrLater) {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.apply(&e)
	return err
}

// Open returns the seat that a key opens at an instant; false if it opens none.
func (l *Links) Open(key string, now sample.Instant) (place string, ok bool) {
	h := sha256.Sum256([]byte(key))
	l.mu.Lock()
	defer l.mu.Unlock()
	i, known := l.byHash[h]
	if !known || l.all[i].WithdrawnAt != sample.Never {
		return "", false
	}
	l.all[i].Used = now
	return l.all[i].Place, true
}

// All returns all links in the order of their making.
func (l *Links) All() []Link {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.all)
}
