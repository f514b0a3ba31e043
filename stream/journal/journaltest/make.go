package journaltest

import (
	"context"
	"errors"
	"iter"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// Noon is an instant for tests: on the first of March 2026, far from midnight.
var Noon = sample.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// Block makes a block of n scans of four channels: every step ordinals one, from
// ord on, ten a second from at on, each arriving 3 ms later. What is in it
// follows from the arguments.
func Block(source string, ord, step uint64, n int, at sample.Instant) record.Block {
	b := record.Block{Source: source, Config: 1}
	for i := range n {
		s := record.Scan{Ord: ord + step*uint64(i), At: at + sample.Instant(i)*1e8, Seq: uint32(ord) + uint32(i), Rail: 4095}
		s.Arrived = s.At + 3e6
		for c := range 4 {
			s.Raw = append(s.Raw, float64((int(ord)*7+i*c+100*c)%4096))
		}
		if i%7 == 3 {
			s.Raw[1] = math.NaN()
		}
		b.Scans = append(b.Scans, s)
	}
	return b
}

// Mark makes an entry that is no input.
func Mark(text string) record.Entry {
	return record.Entry{At: Noon, Written: Noon, Place: "bench-1", Author: "K-07", Body: record.Mark{What: "noted", Text: text}}
}

// Act makes an entry that is an input.
func Act(ord uint64) record.Entry {
	return record.Entry{Ord: ord, At: Noon, Written: Noon, Place: "bed-4", Author: "K-07",
		Body: record.Action{What: "acknowledge", Subject: "bed-4~turn-due~mat"}}
}

// same lets numbers that are none be equal.
var same = cmp.Comparer(func(a, b float64) bool { return a == b || a != a && b != b })

// Gather returns all that a sequence yields, and fails the test at an error.
func Gather[T any](t testing.TB, seq iter.Seq2[T, error]) []T {
	t.Helper()
	var all []T
	for one, err := range seq {
		if err != nil {
			t.Fatalf("after %d: %v", len(all), err)
		}
		all = append(all, one)
	}
	return all
}

// Losses returns all that a sequence yields, and all losses, and fails the test
// at any other error.
func Losses[T any](t testing.TB, seq iter.Seq2[T, error]) (all []T, lost []*journal.Loss) {
	t.Helper()
	for one, err := range seq {
		var l *journal.Loss
		switch {
		case errors.As(err, &l):
			lost = append(lost, l)
		case err != nil:
			t.Fatal(err)
		default:
			all = append(all, one)
		}
	}
	return all, lost
}

// Sound fails the test if a record is not in order.
func Sound(t testing.TB, j journal.Journal) {
	t.Helper()
	for f, err := range j.Check(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		t.Errorf("the record is not in order: %s", f)
	}
}

// put keeps blocks and ticks.
func put(t testing.TB, j journal.Journal, ticks []record.Tick, blocks ...record.Block) []record.Block {
	t.Helper()
	if err := j.AppendReadings(t.Context(), blocks, ticks); err != nil {
		t.Fatal(err)
	}
	return blocks
}

// add keeps entries and returns the position of the last.
func add(t testing.TB, j journal.Journal, entries ...record.Entry) record.Position {
	t.Helper()
	p, err := j.Append(t.Context(), entries...)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// opened opens a new record.
func opened(t testing.TB, maker Maker) journal.Journal {
	t.Helper()
	j := maker(t)()
	t.Cleanup(func() { j.Close() })
	return j
}

// twice runs a check on a record, and again when it was closed and opened.
func twice(t *testing.T, j journal.Journal, open func() journal.Journal, check func(t *testing.T, j journal.Journal)) {
	check(t, j)
	Sound(t, j)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	again := open()
	defer again.Close()
	t.Run("again", func(t *testing.T) {
		check(t, again)
		Sound(t, again)
	})
}

func wantErr(t testing.TB, what string, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%s: error %v, want %v", what, err, want)
	}
}

// ended returns a context that has ended.
func ended() context.Context {
	ctx, end := context.WithCancel(context.Background())
	end()
	return ctx
}
