package selfwatch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

func clock() sample.Instant { return sample.At(time.Now()) }

// pass lets time pass, and what is due in it happen.
func pass(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func faults(t *testing.T, j journal.Log) (out []record.Fault) {
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{})) {
		out = append(out, e.Body.(record.Fault))
	}
	return out
}

// A daemon whose disk fills says so: first into the record, then to people, again after
// they could not be told, and after a start that finds it still so without a second
// raise; and that it is over.
func TestWatcher(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex // guards what the daemon below sees and says
		j, free, told := new(journaltest.Memory), 9.0, []alert.Event(nil)
		var deaf error
		becomes := func(f func()) { mu.Lock(); defer mu.Unlock(); f() }
		run := func() (w *Watcher, end func()) {
			w, err := New(t.Context(), Options{Settings: Defaults(), Journal: j, Now: clock, Log: slog.New(slog.DiscardHandler),
				Probes: map[string]func() float64{Disk: func() float64 { mu.Lock(); defer mu.Unlock(); return free }},
				Tell: func(_ context.Context, e alert.Event) error {
					mu.Lock()
					defer mu.Unlock()
					if deaf == nil {
						if n := len(faults(t, j)); n == 0 {
							t.Errorf("people are told of %q before it is kept", e.Text)
						}
						told = append(told, e)
					}
					return deaf
				}})
			if err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithCancel(t.Context())
			ended := make(chan error)
			go func() { ended <- w.Run(ctx) }()
			return w, func() { cancel(); <-ended }
		}
		w, end := run()
		pass(time.Hour)
		becomes(func() { free, deaf = 1, errors.New("the loop hangs") })
		pass(5 * time.Minute)
		if kept := faults(t, j); len(kept) != 1 || kept[0].Subject != "self disk" || kept[0].Priority != alert.Medium || len(told) != 0 {
			t.Errorf("kept %+v, told %+v", kept, told)
		}
		becomes(func() { deaf = nil })
		pass(10 * time.Second)
		if len(told) != 1 || told[0].ID() != "~disk~weald" || told[0].What != alert.Raised || told[0].Priority != alert.Medium {
			t.Errorf("told %+v", told)
		}
		if c := w.Conditions(); !c[Index(Disk)].Raised || c[Index(Disk)].Value != 1 || !c[Index(Memory)].Setting.Off || !math.IsNaN(c[Index(Memory)].Value) {
			t.Errorf("%+v", c)
		}
		end()

		w, end = run()
		pass(time.Hour)
		if c := w.Conditions()[Index(Disk)]; len(told) != 2 || told[1].At != told[0].At || !c.Raised || c.Since != told[0].At || c.Text != told[0].Text || len(faults(t, j)) != 1 {
			t.Errorf("after a start: told %+v, it stands as %+v, kept %d", told, c, len(faults(t, j)))
		}
		becomes(func() { free = 9 })
		pass(2 * time.Minute)
		end()
		if kept := faults(t, j); len(kept) != 2 || !kept[1].Over || len(told) != 3 || told[2].What != alert.Cleared || told[2].Held < time.Hour {
			t.Errorf("kept %+v, told %+v", kept, told)
		}
		_, end = run()
		end()
		if len(told) != 3 || len(faults(t, j)) != 2 {
			t.Errorf("a start with nothing wrong tells %+v", told[3:])
		}
	})
}

// What a start takes up is what still has somebody who looks at it: a record that was
// not written begins anew, a sender that is gone troubles nobody, and so does what is
// not watched any more.
func TestAStartEndsWhatNobodyLooksAt(t *testing.T) {
	j := new(journaltest.Memory)
	for i, f := range []record.Fault{
		{Subject: record.SenderFault + "gone", Text: "does not get through"},
		{Subject: record.SenderFault + "desk", Text: "does not get through"},
		{Subject: record.RecordFault, Text: "readings are not kept"},
		{Subject: record.SelfFault + Memory, Text: "little memory"},
		{Subject: record.SelfFault + "of another version", Text: "something"},
		{Subject: "retention", Over: true, Text: "something was deleted"},
		{Subject: journal.FileFault, Text: "a file was damaged"},
		{Subject: record.SenderFault + "chat", Text: "does not get through"},
		{Subject: record.SenderFault + "chat", Over: true, Text: "gets through"},
	} {
		if _, err := j.Append(t.Context(), record.Entry{At: base.Add(time.Duration(i)), Written: base, Body: f}); err != nil {
			t.Fatal(err)
		}
	}
	was := len(faults(t, j))
	w, err := New(t.Context(), Options{Settings: Defaults(), Journal: j, Now: clock, Log: slog.New(slog.DiscardHandler), Senders: []string{"desk", "chat"}})
	if err != nil {
		t.Fatal(err)
	}
	if len(w.untold) != 1 || w.untold[0].ID() != "~sender~desk" {
		t.Errorf("told anew: %+v", w.untold)
	}
	over := map[string]string{}
	for _, f := range faults(t, j)[was:] {
		if !f.Over {
			t.Errorf("raised: %+v", f)
		}
		over[f.Subject] = f.Text
	}
	if len(over) != 4 || over["sender gone"] == "" || over["record"] == "" || over["self memory"] == "" || over["self of another version"] == "" {
		t.Errorf("ended: %v", over)
	}
}

// A mute journal answers nothing before the time for that is over, while it is to, or refuses at
// once, as where it is known that servers are gone.
type mute struct {
	journal.Log
	refuses bool
	mu      sync.Mutex
	is      bool // guarded by mu
}

func (m *mute) set(is bool) { m.mu.Lock(); defer m.mu.Unlock(); m.is = is }

func (m *mute) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	m.mu.Lock()
	is := m.is
	m.mu.Unlock()
	switch {
	case is && m.refuses:
		return 0, fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	case is:
		<-ctx.Done()
		return 0, context.Cause(ctx)
	}
	return m.Log.Append(ctx, entries...)
}

// A record that is out of reach keeps nobody from looking and telling: two kinds are raised
// one after the other, and are kept when it can be reached, once and in their order.
func TestLooksDoNotWaitForTheRecord(t *testing.T) {
	for _, refuses := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			looksOutOfReach(t, &mute{Log: new(journaltest.Memory), refuses: refuses, is: true})
		})
	}
}

func looksOutOfReach(t *testing.T, m *mute) {
	began := time.Now()
	var mu sync.Mutex
	var told []string
	w, err := New(t.Context(), Options{Settings: Defaults(), Journal: m, Now: clock, Log: slog.New(slog.DiscardHandler),
		Probes: map[string]func() float64{
			Log: func() float64 { return 100 },
			Loop: func() float64 {
				if time.Since(began) < time.Minute {
					return 0
				}
				return 100
			},
		},
		Tell: func(_ context.Context, e alert.Event) error {
			mu.Lock()
			defer mu.Unlock()
			told = append(told, e.Rule)
			return nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	pass(2 * time.Minute)
	mu.Lock()
	if len(told) != 2 || told[0] != Log || told[1] != Loop {
		t.Errorf("people are told of %q", told)
	}
	mu.Unlock()
	if kept := faults(t, m); len(kept) != 0 {
		t.Errorf("%v are kept out of reach", kept)
	}
	m.set(false)
	pass(time.Minute)
	if kept := faults(t, m); len(kept) != 2 || kept[0].Subject != record.SelfFault+Log || kept[1].Subject != record.SelfFault+Loop {
		t.Errorf("kept are %v", kept)
	}
	stop()
	<-ended
}
