package replicated

import (
	"context"
	"errors"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"
)

// A Roster is one machine's view of which machines are there for some records, its
// shares, and how many of them each has. It spreads their leases evenly; it only advises,
// as a lease does: who writes is what Journal.Claim sees to. Any goroutine may use it; a
// nil Roster is that of a machine that takes whatever is free.
type Roster struct {
	kv     jetstream.KeyValue
	key    string // of this machine, from when it was started
	shares int    // of all machines together
	poke   chan struct{}

	mu      sync.Mutex
	mine    int              // leases that this machine has; guarded by mu, as is all below
	trying  int              // leases that it is about to take
	others  map[string]sight // by key
	yielded time.Time        // when it was last asked for one of its leases
}

// A sight is what another machine said last, and when that was heard.
type sight struct {
	has int
	at  time.Time
}

const (
	// presentFor is for how long a machine counts that has not said more: less than
	// leaseFor, so that its leases are not kept free for it when they run out.
	presentFor = 2 * time.Second
	// freeFor is after how long a lease is taken by whoever comes first, even if others
	// have fewer: whoever should have it does not want it.
	freeFor = time.Second
	// yieldEvery is how often a machine parts with a lease to one that has fewer: one
	// after the other, as nothing is read while one changes hands.
	yieldEvery = 3 * time.Second

	machineKeys = "machine."
)

// NewRoster returns the roster of the machines that have so many shares between them. It
// makes the bucket for it if there is none.
func NewRoster(ctx context.Context, conn *nats.Conn, o Options, shares int) (*Roster, error) {
	kv, err := o.bucket(ctx, conn)
	if err != nil {
		return nil, err
	}
	return &Roster{kv: kv, key: machineKeys + nuid.Next(), shares: shares, poke: make(chan struct{}, 1), others: map[string]sight{}}, nil
}

// Run says that this machine is there, whenever ready reports that it could take over
// what is free, and hears of others until ctx ends.
func (r *Roster) Run(ctx context.Context, ready func() bool) error {
	tick := time.NewTicker(renewEvery)
	defer tick.Stop()
	var watch jetstream.KeyWatcher
	for {
		var news <-chan jetstream.KeyValueEntry
		if watch != nil {
			news = watch.Updates()
		}
		select {
		case e, open := <-news:
			if !open {
				watch = nil
			} else if e != nil { // nil stands behind what was there before
				r.see(e.Key(), e.Operation() == jetstream.KeyValuePut, string(e.Value()), time.Now())
			}
		case <-tick.C:
			if watch == nil {
				watch, _ = r.kv.Watch(ctx, machineKeys+"*") // is tried again
			}
			r.announce(ctx, ready())
		case <-r.poke:
			r.announce(ctx, ready())
		case <-ctx.Done():
			r.leave(watch)
			return context.Cause(ctx)
		}
	}
}

func (r *Roster) announce(ctx context.Context, ready bool) {
	if !ready {
		return
	}
	r.mu.Lock()
	has := r.mine
	r.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, renewEvery)
	defer cancel()
	_, _ = r.kv.Put(ctx, r.key, []byte(strconv.Itoa(has))) // who is not heard does not count
}

// leave lets others count without this machine at once.
func (r *Roster) leave(watch jetstream.KeyWatcher) {
	if watch != nil {
		_ = watch.Stop()
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = r.kv.Delete(ctx, r.key) // else it runs out
}

// see takes in what a machine said.
func (r *Roster) see(key string, there bool, has string, now time.Time) {
	n, err := strconv.Atoi(has)
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case key == r.key:
	case there && err == nil && n >= 0:
		r.others[key] = sight{n, now}
	default:
		delete(r.others, key)
	}
}

// count returns how many machines there are, with this one, and how many leases the one
// of the others has that has fewest. The caller holds mu.
func (r *Roster) count(now time.Time) (machines, least int) {
	machines, least = 1, r.shares
	for key, s := range r.others {
		if now.Sub(s.at) > presentFor {
			delete(r.others, key)
			continue
		}
		machines++
		least = min(least, s.has)
	}
	return machines, least
}

// try reports whether this machine should take a lease that has been free for so long as
// far as it has seen; tried has to be called then.
func (r *Roster) try(free time.Duration, now time.Time) bool {
	if r == nil {
		return true
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	machines, _ := r.count(now)
	each := (r.shares + machines - 1) / machines
	if full := r.mine+r.trying >= each || now.Sub(r.yielded) < yieldEvery; full && free < freeFor {
		return false // who has just yielded one would take that back, where others are as quick
	}
	r.trying++
	return true
}

// tried says what became of it.
func (r *Roster) tried(took bool) {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.trying--; took {
		r.mine++
		r.changed()
	}
}

// gone says that this machine has a lease no more.
func (r *Roster) gone() {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.mine--
	r.changed()
}

func (r *Roster) changed() {
	select {
	case r.poke <- struct{}{}:
	default: // it will be said anyway
	}
}

// yields reports whether this machine should part with one of its leases, because another
// has two fewer at least.
func (r *Roster) yields(now time.Time) bool {
	if r == nil {
		return false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if machines, least := r.count(now); machines == 1 || r.mine-least < 2 || now.Sub(r.yielded) < yieldEvery {
		return false
	}
	r.yielded = now
	return true
}

// ErrYielded means that another machine should have the lease, as it has fewer.
var ErrYielded = errors.New("another machine has less to do")
