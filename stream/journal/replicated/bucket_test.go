package replicated

import (
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// A bucket is that of a lease, as machines see it, without servers: what is in it runs out after
// leaseFor, is changed by whoever knows its revision, and lost answers and servers without a
// majority are as a test says. Their time is that of the test.
type bucket struct {
	jetstream.KeyValue

	mu    sync.Mutex
	value []byte // guarded by mu, as is all below; nil for none
	rev   uint64
	last  uint64 // revision of anything
	at    time.Time
	gone  bool          // there is no majority
	lost  func() bool   // an answer is lost on the way; nil for none
	slow  time.Duration // what an answer takes
}

type found struct {
	jetstream.KeyValueEntry
	value []byte
	rev   uint64
}

func (w found) Value() []byte    { return w.value }
func (w found) Revision() uint64 { return w.rev }

// do does something to what is in it, unless there is no majority.
func (b *bucket) do(ctx context.Context, something func() error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	b.mu.Lock()
	gone, lost, slow := b.gone, b.lost != nil && b.lost(), b.slow
	var err error
	if !gone {
		if b.value != nil && time.Since(b.at) >= leaseFor {
			b.value = nil
		}
		err = something()
	}
	b.mu.Unlock()
	if gone || lost {
		<-ctx.Done()
		return ctx.Err()
	}
	if slow > 0 {
		time.Sleep(slow)
	}
	return err
}

func (b *bucket) put(value []byte) {
	b.last++
	b.value, b.rev, b.at = value, b.last, time.Now()
}

func (b *bucket) Create(ctx context.Context, _ string, value []byte, _ ...jetstream.KVCreateOpt) (rev uint64, err error) {
	err = b.do(ctx, func() error {
		if b.value != nil {
			return jetstream.ErrKeyExists
		}
		b.put(value)
		rev = b.rev
		return nil
	})
	return rev, err
}

func (b *bucket) Update(ctx context.Context, _ string, value []byte, of uint64) (rev uint64, err error) {
	err = b.do(ctx, func() error {
		if b.value == nil || b.rev != of {
			return errors.New("wrong last sequence")
		}
		b.put(value)
		rev = b.rev
		return nil
	})
	return rev, err
}

func (b *bucket) Get(ctx context.Context, _ string) (e jetstream.KeyValueEntry, err error) {
	err = b.do(ctx, func() error {
		if b.value == nil {
			return jetstream.ErrKeyNotFound
		}
		e = found{value: b.value, rev: b.rev}
		return nil
	})
	return e, err
}

// Delete takes it away where it has the revision that the library would ask for.
func (b *bucket) Delete(ctx context.Context, _ string, options ...jetstream.KVDeleteOpt) error {
	return b.do(ctx, func() error {
		for _, o := range options {
			f := reflect.ValueOf(o)
			asked := reflect.New(f.Type().In(0).Elem())
			f.Call([]reflect.Value{asked})
			if of := asked.Elem().FieldByName("revision").Uint(); of != 0 && of != b.rev {
				return errors.New("wrong last sequence")
			}
		}
		b.value = nil
		b.last++
		return nil
	})
}

func (b *bucket) Status(ctx context.Context) (jetstream.KeyValueStatus, error) {
	return nil, b.do(ctx, func() error { return nil })
}

// set changes what servers do.
func (b *bucket) set(change func(b *bucket)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change(b)
}

// of is the lease of a machine.
func (b *bucket) of(machine string) *Lease {
	return &Lease{connected: func() bool { return true }, kv: b, self: Holder{Machine: machine, Pages: "https://" + machine}}
}

// holds is the machine that has it as the servers know, "" for none.
func (b *bucket) holds() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.value == nil || time.Since(b.at) >= leaseFor {
		return ""
	}
	var h Holder
	if json.Unmarshal(b.value, &h) != nil {
		return "?"
	}
	return h.Machine
}
