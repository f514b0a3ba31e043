package order

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"weald/ingest/sample"
)

// Held is how many orders there are at a time, those that wait included.
const Held = 8

// A State is how an order stands.
type State string

// The states of an order. The last three are final.
const (
	Waiting State = "waiting"
	Making  State = "making"
	Made    State = "made"
	Stopped State = "stopped"
	Failed  State = "failed"
)

// An Ask is what somebody wants. From and To may be Past and Never.
type Ask struct {
	Place    string
	Format   string
	From, To sample.Instant
	Detail   any // what else the maker has to know; nobody changes it
}

// A File is one that was made; Name has no folder in it.
type File struct {
	Name  string
	Bytes int64
	Rows  int64
}

// An Order is what was asked, and how far it has come.
type Order struct {
	ID    string
	Ask   Ask
	State State
	Share float64  // 0 to 1; never goes back
	Files []File   // once it is made
	Notes []string // what could not be read, in plain words
	Why   string   // of a failure, in plain words
}

func (o *Order) done() bool { return o.State != Waiting && o.State != Making }

// A Maker makes what is asked into a folder, and tells its progress from 0 to 1.
// When its context ends it leaves nothing and returns the cause.
type Maker func(ctx context.Context, a Ask, folder string, tell func(share float64)) ([]File, []string, error)

// Errors of a Desk.
var (
	ErrMany   = errors.New("so many wait already")
	ErrNone   = errors.New("there is none of that name")
	ErrUnmade = errors.New("it is not made")
)

// A Desk takes orders. Everybody may call it.
type Desk struct {
	// Set by New.
	folder string
	make   Maker
	wake   chan struct{} // holds one: there is something to do

	mu    sync.Mutex
	all   []*Order               // guarded by mu; the newest last
	stops map[string]func(error) // guarded by mu; of the order that is being made
}

// New returns a desk whose files lie in a folder of its own, which Run makes.
func New(folder string, make Maker) *Desk {
	return &Desk{folder: folder, make: make, wake: newWake(), stops: map[string]func(error){}}
}

func newWake() chan struct{} { return make(chan struct{}, 1) }

// Place takes an order. ErrMany means that there are Held, none of them done.
func (d *Desk) Place(a Ask) (Order, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.all) >= Held {
		old := slices.IndexFunc(d.all, (*Order).done)
		if old < 0 {
			return Order{}, ErrMany
		}
		_ = os.RemoveAll(d.path(d.all[old].ID)) // what stays goes with the next start
		d.all = slices.Delete(d.all, old, old+1)
	}
	o := &Order{ID: "x-" + strings.ToLower(rand.Text()[:10]), Ask: a, State: Waiting}
	d.all = append(d.all, o)
	select {
	case d.wake <- struct{}{}:
	default: // somebody has said so already
	}
	return o.copy(), nil
}

func (d *Desk) path(id string) string { return filepath.Join(d.folder, id) }

func (o *Order) copy() Order {
	c := *o
	c.Files, c.Notes = slices.Clone(o.Files), slices.Clone(o.Notes)
	return c
}

// All returns all orders, the newest first.
func (d *Desk) All() []Order {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := make([]Order, 0, len(d.all))
	for _, o := range slices.Backward(d.all) {
		out = append(out, o.copy())
	}
	return out
}

// Get returns an order, or ErrNone.
func (d *Desk) Get(id string) (Order, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if o := d.find(id); o != nil {
		return o.copy(), nil
	}
	return Order{}, ErrNone
}

func (d *Desk) find(id string) *Order {
	for _, o := range d.all {
		if o.ID == id {
			return o
		}
	}
	return nil
}

var errStopped = errors.New("stopped by somebody")

// Stop ends an order that is not done; one that is stays as it is. ErrNone.
func (d *Desk) Stop(id string) (Order, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	o := d.find(id)
	if o == nil {
		return Order{}, ErrNone
	}
	if !o.done() {
		o.State = Stopped
		if stop := d.stops[id]; stop != nil {
			stop(errStopped)
		}
	}
	return o.copy(), nil
}

// Open opens a file of an order for whoever fetches it: ErrNone, ErrUnmade.
func (d *Desk) Open(id, name string) (*os.File, error) {
	o, err := d.Get(id)
	switch {
	case err != nil:
		return nil, err
	case o.State != Made:
		return nil, ErrUnmade
	case !slices.ContainsFunc(o.Files, func(f File) bool { return f.Name == name }):
		return nil, ErrNone
	}
	f, err := os.Open(filepath.Join(d.path(id), name))
	if err != nil {
		return nil, fmt.Errorf("file %s of %s: %w", name, id, err)
	}
	return f, nil
}
