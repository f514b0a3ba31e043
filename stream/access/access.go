package access

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"weald/ingest/sample"
	"weald/stream/access/guesses"
	"weald/stream/access/password"
	"weald/stream/journal"
	"weald/stream/record"
)

// A Store is the part of a record that this needs.
type Store interface {
	journal.Log
	journal.Shelf
}

// Limits are those of sessions.
type Limits struct {
	Idle    time.Duration // without anybody doing anything
	Longest time.Duration // whatever is done
}

// DefaultLimits suit a ward: OWASP's Session Management Cheat Sheet has 15 to 30
// minutes of idleness for what is of little risk, and as the longest a day's work,
// which on a ward is a shift of 12 hours.
var DefaultLimits = Limits{Idle: 30 * time.Minute, Longest: 12 * time.Hour}

// Errors of what people ask for.
var (
	ErrNone  = errors.New("there is no such account")
	ErrTaken = errors.New("there is one of that name already")
	ErrName  = errors.New("a name has 2 to 32 letters, digits, dots, hyphens and underscores, and begins with a letter")
	ErrLast  = errors.New("it is the last admin: make another one first")
	ErrMany  = errors.New("there are as many as can be: remove one first")
	ErrPass  = errors.New("there is no such token or screen")
	ErrGone  = errors.New("it has been withdrawn already")
)

// ErrAsked is wrapped by errors that say what is wrong with what was asked for.
var ErrAsked = errors.New("that cannot be")

type asked struct{ error }

// Is implements what errors.Is looks for.
func (asked) Is(target error) bool { return target == ErrAsked }

// Unwrap returns what is wrong.
func (a asked) Unwrap() error { return a.error }

// A Deed is who changes something, and when.
type Deed struct {
	By  string
	Now sample.Instant
}

// hash is what is kept of a key.
type hash [sha256.Size]byte

func hashOf(key string) hash { return sha256.Sum256([]byte(key)) }

// newKey makes a key of 130 random bits.
func newKey() (key string, h hash) {
	key = rand.Text()
	return key, hashOf(key)
}

// Access is everything that is known of who may do what.
type Access struct {
	store  Store
	limits Limits

	// Hasher hashes passwords; set it before use to have that cost less, in tests.
	Hasher *password.Hasher

	// change is held while something is changed: on the disk, and then in memory.
	change   sync.Mutex
	versions map[string]uint64 // guarded by change: of documents

	mu       sync.Mutex
	accounts map[string]*account // guarded by mu, as is all below; by name in lower case
	sessions map[hash]*session
	passes   map[hash]*Pass
	consoles map[hash]sample.Instant // until when

	byAddress guesses.Limit[household]
	byName    guesses.Limit[string]
	byDevice  guesses.Limit[hash]
}

// How documents are named.
const (
	accountDocs = "access/account/"
	deviceDocs  = "access/devices/"
	sessionDocs = "access/session/"
	passDocs    = "access/pass/"
)

// Read reads what the record has. What is damaged of it is left out, and opens
// nothing.
func Read(ctx context.Context, store Store, limits Limits, now sample.Instant) (*Access, error) {
	a := &Access{
		store: store, limits: limits, Hasher: password.NewHasher(), versions: map[string]uint64{},
		accounts: map[string]*account{}, sessions: map[hash]*session{}, passes: map[hash]*Pass{}, consoles: map[hash]sample.Instant{},
	}
	a.bound()
	for d, err := range journal.Readable(store.Documents(ctx, "access/"), nil) {
		if err != nil {
			return nil, fmt.Errorf("the accounts cannot be read: %w", err)
		}
		a.versions[d.Name] = d.Version
		a.take(&d, now)
	}
	for h, s := range a.sessions {
		if a.accounts[s.account] == nil {
			delete(a.sessions, h)
		}
	}
	return a, nil
}

// take enters a document. Devices follow the accounts in the order of names.
func (a *Access) take(d *record.Document, now sample.Instant) {
	kind, name, _ := strings.Cut(strings.TrimPrefix(d.Name, "access/"), "/")
	switch "access/" + kind + "/" {
	case accountDocs:
		var x account
		if json.Unmarshal(d.Body, &x) == nil && !x.Gone && strings.ToLower(x.Name) == name && x.Role > Nobody {
			a.accounts[name] = &x
		}
	case deviceDocs:
		var x devices
		if of := a.accounts[name]; json.Unmarshal(d.Body, &x) == nil && of != nil {
			of.devices = x.Hashes
		}
	case sessionDocs:
		var x sessionDoc
		if json.Unmarshal(d.Body, &x) == nil {
			// Nobody knows when it was used last: it is not longer idle than the daemon was down.
			a.sessions[x.Hash] = &session{name: d.Name, account: x.Account, begun: sample.At(x.Begun), seen: now}
		}
	case passDocs:
		var x passDoc
		if json.Unmarshal(d.Body, &x) == nil {
			a.passes[x.Hash] = x.pass()
		}
	}
}

// unkept reports whether something that was to be kept is not and will not be. What the log of
// several machines has (journal.ErrLater), and this one has no room for, is done all the same: it
// will be in force after the next start. The error goes on to whoever asked.
func unkept(err error) bool { return err != nil && !errors.Is(err, journal.ErrLater) }

// put keeps a document; a nil body takes it away. The caller holds change.
func (a *Access) put(ctx context.Context, name string, body any, now sample.Instant) error {
	d := record.Document{Name: name, Version: a.versions[name], Written: now}
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return err
		}
		d.Body = b
	}
	version, err := a.store.PutDocument(ctx, d)
	if errors.Is(err, journal.ErrConflict) { // what failed before has been kept after all
		was, unread := a.store.Document(ctx, name, 0)
		if errors.Is(unread, journal.ErrNotFound) && body == nil {
			return nil
		}
		if unread != nil {
			return err
		}
		d.Version = was.Version
		version, err = a.store.PutDocument(ctx, d)
	}
	switch {
	case unkept(err):
		return err
	case err != nil:
		version = d.Version + 1 // as the log counts them
	}
	a.versions[name] = version
	return err
}

// note keeps that somebody is about to change something.
func (a *Access) note(ctx context.Context, d Deed, what, subject, reason string) error {
	_, err := a.store.Append(ctx, record.Entry{At: d.Now, Written: d.Now, Author: d.By, Body: record.Action{What: what, Subject: subject, Reason: reason}})
	return err
}
