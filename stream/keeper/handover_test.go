package keeper_test

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// A reload while the record is out of reach is refused, and changes nothing: it holds up the
// loop that judges for as long as one call may take, and once it is known that readings wait
// not at all. Where nothing waits it takes no longer. When the record is there again it goes.
func TestAReloadOutOfReach(t *testing.T) {
	for name, reading := range map[string]bool{"a reading waits": true, "nothing waits": false} {
		synctest.Test(t, func(t *testing.T) {
			d := &deaf{Journal: new(journaltest.Memory)}
			now := wallClock
			k, plan := wardKeeper(t, d, now)
			k.Within = 10 * time.Second
			scan := func(ord uint64) {
				k.Scan(ord, &sample.Scan{At: now(), Arrived: now(), Seq: uint32(ord), First: uint32(ord), Raw: make([]float64, plan.Sources[0].Channels)})
			}
			scan(1)
			if err := k.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
			ord := uint64(1)
			if reading {
				ord++
				scan(ord)
			}
			reload := func() (took time.Duration, err error) {
				began := time.Now()
				_, err = k.HandOver(t.Context(), ord, len(plan.Places), func(_ int, b []byte) []byte { return append(b, 1) }, "another", "K-07")
				return time.Since(began), err
			}
			d.is.Store(true)
			known := k.Within
			if reading {
				known = 0
			}
			for i, want := range []time.Duration{k.Within, known} {
				if took, err := reload(); !errors.Is(err, journal.ErrUnreached) || took != want {
					t.Errorf("%s: reload %d ends after %v, and not %v, with %v", name, i+1, took, want, err)
				}
			}
			d.is.Store(false)
			if c, err := keeper.InForce(t.Context(), d); err != nil || c.Version != 0 {
				t.Errorf("%s: version %d is in force after it was refused: %v", name, c.Version, err)
			}
			if err := k.Flush(t.Context()); err != nil { // as Run does
				t.Fatal(err)
			}
			if took, err := reload(); err != nil || took > 0 {
				t.Errorf("%s: the record is there, and a reload ends after %v with %v", name, took, err)
			}
			all := journaltest.Gather(t, d.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindConfig}}))
			if len(all) != 1 || all[0].Ord != ord+1 {
				t.Errorf("%s: the record has these configurations: %v", name, all)
			}
		})
	}
}

// Hours of changes wait, and the record is there again: to hand them over takes minutes, and a
// reload meanwhile is refused at once, as the loop that judges would wait for all of them.
func TestAReloadWhileTheRecordCatchesUp(t *testing.T) {
	d := &deaf{Journal: new(journaltest.Memory)}
	k, plan := wardKeeper(t, d, wallClock)
	k.Within = 50 * time.Millisecond
	key := alert.Key{Place: plan.Places[0].ID, Rule: "too-tight", Subject: "ankle"}
	d.is.Store(true)
	ord := uint64(0)
	for range 200 {
		ord++
		k.Scan(ord, &sample.Scan{At: wallClock(), Arrived: wallClock(), Seq: uint32(ord), First: uint32(ord), Raw: make([]float64, plan.Sources[0].Channels)})
		took, err := k.Commit(ord+1, []alert.Event{{Key: key, What: alert.Raised, At: wallClock()}}, func(string) []byte { return []byte{1} })
		if !took || err != nil {
			t.Fatal(took, err)
		}
		ord++ // how its place stands
	}
	reload := func() error {
		_, err := k.HandOver(t.Context(), ord, len(plan.Places), func(_ int, b []byte) []byte { return append(b, 1) }, "another", "K-07")
		return err
	}
	k.Within = time.Hour
	d.pace = make(chan struct{})
	d.is.Store(false)
	caught := make(chan error, 1)
	go func() { caught <- k.Flush(t.Context()) }()
	for range 3 {
		d.pace <- struct{}{}
	}
	all := time.AfterFunc(10*time.Second, func() { close(d.pace) }) // for a reload that waits
	if err := reload(); !errors.Is(err, journal.ErrUnreached) {
		t.Errorf("while the record catches up a reload ends with %v", err)
	}
	if all.Stop() {
		close(d.pace)
	}
	if err := <-caught; err != nil {
		t.Fatal(err)
	}
	if err := reload(); err != nil {
		t.Errorf("the record has caught up: %v", err)
	}
}
