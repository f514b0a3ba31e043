package replicated

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal/replicated/patience"
)

// A lease says which machine should write a record. It only saves machines from claiming
// it from each other: that one writes is what Journal.Claim sees to, whatever clocks do.

// leaseFor is after how long a machine that says nothing is taken for gone, renewEvery how
// often one says that it is there, and tryEvery how often others look. renewWithin is how long
// the servers may take to note that, and steadyFor for how long they must have answered before
// a lease is taken that ran out while they did not: whoever has it could not say so meanwhile,
// and is given the time to.
const (
	leaseFor    = 3 * time.Second
	renewEvery  = time.Second
	renewWithin = 2 * time.Second
	tryEvery    = 500 * time.Millisecond
	steadyFor   = 2 * time.Second
)

// A Holder is who has a lease.
type Holder struct {
	Machine string    `json:"machine"`
	Pages   string    `json:"pages"` // address; "" where nobody else can reach them
	Since   time.Time `json:"since"`
}

// A Lease is one machine's view of who has it. Any goroutine may use it.
type Lease struct {
	connected func() bool
	kv        jetstream.KeyValue
	self      Holder
	roster    *Roster                // nil for none
	holder    atomic.Pointer[Holder] // as last seen; nil for nobody, or not known

	// By one goroutine at a time.
	rev    uint64    // of what this machine wrote
	free   time.Time // since when it has seen nobody; zero while somebody is
	have   bool      // the roster counts it
	silent bool      // the servers have not answered
	steady time.Time // since when they have again; zero for not yet
}

const leaseKey = "writer"

// NewLease returns the lease of a record, which goes by a roster where it is not nil. It
// makes the bucket for it if there is none.
func NewLease(ctx context.Context, conn *nats.Conn, o Options, self Holder, roster *Roster) (*Lease, error) {
	kv, err := o.bucket(ctx, conn)
	if err != nil {
		return nil, err
	}
	return &Lease{connected: conn.IsConnected, kv: kv, self: self, roster: roster}, nil
}

// bucket returns the one for what machines say of a record, or of records that are shares
// of one, and makes it if there is none. What is in it runs out.
func (o *Options) bucket(ctx context.Context, conn *nats.Conn) (jetstream.KeyValue, error) {
	js, err := jetstream.New(conn)
	if err != nil {
		return nil, err
	}
	name := "weald-" + o.Name
	kv, err := js.KeyValue(ctx, name)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		kv, err = js.CreateKeyValue(ctx, jetstream.KeyValueConfig{
			Bucket: name, Description: "which machine writes the record", TTL: leaseFor, Replicas: o.Replicas, Storage: jetstream.FileStorage,
		})
		if errors.Is(err, jetstream.ErrBucketExists) {
			kv, err = js.KeyValue(ctx, name)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("lease of record %s: %w", o.Name, err)
	}
	return kv, nil
}

// Holder returns who had the lease when it was last looked at, nil if that is not known.
func (l *Lease) Holder() *Holder { return l.holder.Load() }

// Take returns when this machine has the lease, or ctx ends. Servers that do not answer
// are asked again. While may is false it only looks who has it: a machine that could not
// do the work leaves it to others.
func (l *Lease) Take(ctx context.Context, may func() bool) error {
	for {
		if !may() {
			l.look(ctx)
		} else if l.try(ctx) {
			return nil
		}
		select {
		case <-time.After(tryEvery):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

func (l *Lease) try(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, leaseFor)
	defer cancel()
	free := time.Duration(0)
	if !l.free.IsZero() {
		free = time.Since(l.free)
	}
	if !l.answered(ctx) || !l.roster.try(free, time.Now()) {
		l.look(ctx)
		return false
	}
	took := l.create(ctx)
	l.roster.tried(took)
	if l.have = took; !took {
		l.look(ctx)
	}
	return took
}

// answered reports whether the servers have answered for long enough that a lease which is
// free is free because nobody keeps it.
func (l *Lease) answered(ctx context.Context) bool {
	if l.silent = l.silent || !l.connected(); !l.silent {
		return true
	}
	if _, err := l.kv.Status(ctx); err != nil || !l.connected() { // which the server says that could note a lease
		l.steady = time.Time{}
		return false
	}
	if l.steady.IsZero() {
		l.steady = time.Now()
	}
	if time.Since(l.steady) < steadyFor {
		return false
	}
	l.silent, l.steady = false, time.Time{}
	return true
}

func (l *Lease) create(ctx context.Context) bool {
	l.self.Since = time.Now().UTC().Truncate(time.Second)
	body, err := json.Marshal(l.self)
	if err != nil {
		return false // text and a time always can be
	}
	if l.rev, err = l.kv.Create(ctx, leaseKey, body); err != nil {
		l.silent = !errors.Is(err, jetstream.ErrKeyExists)
		return false
	}
	l.holder.Store(&l.self)
	return true
}

// look learns who has the lease.
func (l *Lease) look(ctx context.Context) {
	entry, err := l.kv.Get(ctx, leaseKey)
	if err != nil {
		if l.holder.Store(nil); l.free.IsZero() {
			l.free = time.Now()
		}
		return
	}
	l.free = time.Time{}
	var h Holder
	if json.Unmarshal(entry.Value(), &h) == nil {
		l.holder.Store(&h)
	}
}

// ErrLost means that another machine has the lease.
var ErrLost = errors.New("another machine has taken over")

// Keep keeps the lease until ctx ends, and gives it back then. It returns ErrLost where
// another machine has it. While the servers do not answer nobody can take it, or learn
// that it is free: it goes on then. Where another machine should have it, which the roster
// says, ask is told ErrYielded, and the lease is kept until ctx ends all the same.
func (l *Lease) Keep(ctx context.Context, ask func(error)) error {
	body, err := json.Marshal(l.self)
	if err != nil {
		return err
	}
	for wait := renewEvery; ; {
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			l.GiveBack()
			return context.Cause(ctx)
		}
		wait = renewEvery
		if err := l.renew(ctx, body); errors.Is(err, ErrLost) {
			l.parted()
			return err
		} else if err != nil {
			wait = patience.RetryAfter
		}
		if l.roster.yields(time.Now()) {
			ask(ErrYielded)
		}
	}
}

// Hold keeps the lease while work is done, and until that has returned: the next machine
// begins when this one has written its last. The context of work ends when another machine
// has the lease, or should have it; ErrLost or ErrYielded is its cause then, and Hold returns
// that beside what work returned.
func (l *Lease) Hold(ctx context.Context, work func(context.Context) error) error {
	keeping, release := context.WithCancel(context.WithoutCancel(ctx))
	working, stop := context.WithCancelCause(ctx)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		stop(l.Keep(keeping, stop))
	}()
	defer func() { release(); <-kept }()
	err := work(working)
	if why := context.Cause(working); errors.Is(why, ErrLost) || errors.Is(why, ErrYielded) {
		err = errors.Join(err, why)
	}
	return err
}

func (l *Lease) renew(ctx context.Context, body []byte) error {
	ctx, cancel := context.WithTimeout(ctx, renewWithin)
	defer cancel()
	rev, err := l.kv.Update(ctx, leaseKey, body, l.rev)
	if err == nil {
		l.rev = rev
		return nil
	}
	// It has run out, or somebody else has it, or an answer was lost on the way.
	if rev, err := l.kv.Create(ctx, leaseKey, body); err == nil {
		l.rev = rev
		return nil
	}
	entry, err := l.kv.Get(ctx, leaseKey)
	if err != nil {
		return err
	}
	var h Holder
	if err := json.Unmarshal(entry.Value(), &h); err != nil {
		return err
	}
	if h != l.self {
		l.holder.Store(&h)
		return fmt.Errorf("%s: %w", h.Machine, ErrLost)
	}
	// What it wrote then may run out before the next time.
	if l.rev, err = l.kv.Update(ctx, leaseKey, body, entry.Revision()); err != nil {
		l.rev = entry.Revision()
	}
	return err
}

// GiveBack lets the next machine begin at once. Without the lease it does nothing.
func (l *Lease) GiveBack() {
	if !l.have {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = l.kv.Delete(ctx, leaseKey, jetstream.LastRevision(l.rev)) // else it runs out
	l.holder.Store(nil)
	l.parted()
}

func (l *Lease) parted() {
	l.have = false
	l.roster.gone()
}
