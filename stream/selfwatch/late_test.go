package selfwatch

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A doubtful journal keeps calls and does not say so, until a test lets it: a call that is made
// again is the same one.
type doubtful struct {
	*journaltest.Memory
	says  bool
	doubt map[string]bool
}

func (d *doubtful) Append(ctx context.Context, entries ...record.Entry) (p record.Position, err error) {
	id := fmt.Sprint(entries)
	if !d.doubt[id] {
		p, err = d.Memory.Append(ctx, entries...)
	}
	if d.says {
		delete(d.doubt, id)
		return p, err
	}
	d.doubt[id] = true
	return 0, journal.ErrUnreached
}

// That alerts of a former run are over, which a start says in one call, is in the record once,
// also where servers take that call and do not say so.
func TestWhatAStartEndsIsKeptOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &doubtful{Memory: new(journaltest.Memory), says: true, doubt: map[string]bool{}}
		for _, subject := range []string{record.SenderFault + "gone", record.SelfFault + Memory} {
			if _, err := d.Append(t.Context(), record.Entry{At: base, Written: base, Body: record.Fault{Subject: subject, Text: "something"}}); err != nil {
				t.Fatal(err)
			}
		}
		d.says = false
		w, err := New(t.Context(), Options{Settings: Defaults(), Journal: d, Now: clock, Log: slog.New(slog.DiscardHandler),
			Probes: map[string]func() float64{Disk: func() float64 { return math.NaN() }},
			Tell:   func(context.Context, alert.Event) error { return nil }})
		if err != nil {
			t.Fatal(err)
		}
		d.says = true
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- w.Run(ctx) }()
		time.Sleep(10 * time.Second)
		stop()
		<-ended
		over := map[string]int{}
		for _, f := range faults(t, d)[2:] {
			over[f.Subject]++
		}
		if len(over) != 2 || over["sender gone"] != 1 || over["self memory"] != 1 {
			t.Errorf("how often each is over: %v", over)
		}
	})
}
