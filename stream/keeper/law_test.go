package keeper_test

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// said are the entries of a record that people, alerts and configurations brought, in their order.
func said(t *testing.T, j journal.Log) (out []string) {
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{})) {
		switch b := e.Body.(type) {
		case record.Action:
			out = append(out, "deed by "+e.Author)
		case record.Transition:
			out = append(out, "alert "+b.Event.Text)
		case record.State:
			out = append(out, fmt.Sprintf("state as %d", e.Ord))
		case record.Config:
			out = append(out, fmt.Sprintf("%s as %d, undoes %t", b.Text, e.Ord, b.Undoes > 0))
		}
	}
	return out
}

// A step is what happens next: servers become something, or something is given to the keeper.
type step struct {
	what                            string
	silent, keeps, refuses, entries bool
}

func drawSteps(t *rapid.T) []step {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) step {
		s := step{what: rapid.SampledFrom([]string{"servers", "deed", "alert", "scan", "reload", "write"}).Draw(t, "what")}
		if s.what == "servers" {
			s.silent, s.keeps, s.refuses, s.entries = rapid.Bool().Draw(t, "silent"), rapid.Bool().Draw(t, "keep"), rapid.Bool().Draw(t, "refuse"), rapid.Bool().Draw(t, "entries alone")
		}
		return s
	}), 1, 25).Draw(t, "steps")
}

// Whatever servers do, keep in silence, refuse or forget, and whenever: in the end the record has what
// was done, told and undone, once and in the order in which it happened, and nothing that was refused;
// and all readings. Nobody waits for longer than two calls may take.
func TestInTheEndTheRecordHasWhatHappened(t *testing.T) {
	packers(t)
	rapid.Check(t, func(r *rapid.T) {
		steps, problem := drawSteps(r), ""
		synctest.Test(t, func(t *testing.T) { problem = happen(t, steps) })
		if problem != "" {
			r.Fatal(problem)
		}
	})
}

// packers has made outside of any bubble what the record packs with, which makes channels when it is
// used first.
func packers(t *testing.T) {
	m := new(journaltest.Memory)
	if _, err := m.Append(t.Context(), record.Entry{Ord: 1, Body: record.State{Body: []byte{1}}}); err != nil {
		t.Fatal(err)
	}
	if err := m.AppendReadings(t.Context(), []record.Block{journaltest.Block("hub/mat", 1, 1, 1, journaltest.Noon)}, nil); err != nil {
		t.Fatal(err)
	}
	_ = journaltest.Gather(t, m.Entries(t.Context(), journal.Query{}))
}

// happen has a keeper go through steps, and says what is wrong then; "" for nothing.
func happen(t *testing.T, steps []step) (wrong string) {
	fail := func(format string, args ...any) { wrong = cmp.Or(wrong, fmt.Sprintf(format, args...)) }
	m := &mute{Journal: new(journaltest.Memory), kept: map[string]record.Position{}}
	want, inForce := []string{"one as 0, undoes false"}, "one"
	if _, err := m.Append(t.Context(), record.Entry{Body: record.NewConfig(1, inForce)}); err != nil {
		t.Fatal(err)
	}
	now := wallClock
	k, plan := wardKeeper(t, m, now)
	k.Within = 10 * time.Second
	key := alert.Key{Place: plan.Places[0].ID, Rule: "too-tight", Subject: "ankle"}
	ord, scans := uint64(0), 0
	for i, s := range steps {
		name, began := fmt.Sprint(i), time.Now()
		switch s.what {
		case "servers":
			m.is.Store(s.silent)
			m.keeps, m.refuses, m.entries = s.keeps, s.refuses, s.entries
		case "deed":
			if err := k.Act(ord+1, key, alert.Action{Verb: alert.Acknowledge, At: now(), Who: name}); err == nil || errors.Is(err, pipeline.ErrWaits) {
				ord++
				want = append(want, "deed by "+name)
			}
		case "alert":
			took, err := k.Commit(ord+1, []alert.Event{{Key: key, What: alert.Raised, At: now(), Text: name}}, func(string) []byte { return []byte{1} })
			if err != nil {
				fail("an alert is answered with %v", err)
			}
			if want = append(want, "alert "+name); took {
				ord++
				want = append(want, fmt.Sprintf("state as %d", ord))
			}
		case "scan":
			ord++
			scans++
			k.Scan(ord, &sample.Scan{At: now(), Arrived: now(), Seq: uint32(scans), First: uint32(scans), Raw: make([]float64, plan.Sources[0].Channels)})
		case "reload":
			took, err := k.HandOver(t.Context(), ord, len(plan.Places), func(_ int, b []byte) []byte { return append(b, 1) }, name, "K-07")
			switch {
			case took == 1 && err == nil:
				want, inForce = append(want, fmt.Sprintf("%s as %d, undoes false", name, ord+1)), name
			case took == 2 && err != nil:
				want = append(want, fmt.Sprintf("%s as %d, undoes false", name, ord+1), fmt.Sprintf("%s as %d, undoes true", inForce, ord+2))
			case took != 0 || !errors.Is(err, journal.ErrUnreached):
				fail("a reload takes %d, with %v", took, err)
			}
			ord += took
		case "write":
			_ = k.Flush(t.Context())
		}
		if took := time.Since(began); took > 2*k.Within {
			fail("step %d took %v", i, took)
		}
		time.Sleep(time.Millisecond)
	}
	m.is.Store(false)
	if err := k.Flush(t.Context()); err != nil {
		fail("in the end nothing is kept: %v", err)
	}
	if got := said(t, m); !slices.Equal(got, want) {
		fail("the record has %q, and should have %q", got, want)
	}
	for b, err := range m.Readings(t.Context(), plan.Sources[0].ID, sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		scans -= len(b.Scans)
	}
	if scans != 0 {
		fail("%d scans are missing, or there too often", scans)
	}
	return wrong
}
