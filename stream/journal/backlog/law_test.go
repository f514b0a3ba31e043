package backlog_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
	"weald/stream/journal"
	"weald/stream/journal/backlog"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// An answer is what a log makes of a call.
type answer int

const (
	kept    answer = iota // and it says so
	later                 // the log has it, and says that this machine has not
	refused               // and never kept by itself
	unsent                // as it is known that servers are gone
	silent                // kept, and nobody says so
	nothing               // not kept, and nobody says so
	leaving               // as silent, as whoever gave it has gone
	left                  // as nothing, likewise
	answers               // how many there are
)

// A moody log answers as it is told to, and complains of what no log may be given. It knows
// calls by what is in them.
type moody struct {
	t       *rapid.T
	answer  func() answer
	gone    func() // ends the context of whoever calls
	kept    []string
	settled map[string]bool // calls that had their answer
	refused map[string]bool // of those
	doubt   string          // the call that has none yet
	has     bool            // whether that one is kept
	asked   int
	last    answer
	seen    map[answer]int
}

func (m *moody) Append(_ context.Context, entries ...record.Entry) (record.Position, error) {
	id := text(entries)
	switch m.asked++; {
	case m.settled[id]:
		m.t.Fatalf("%s is given again after its answer", id)
	case m.doubt != "" && m.doubt != id:
		m.t.Fatalf("%s is given while %s is in doubt", id, m.doubt)
	}
	a := m.answer()
	switch {
	case a == unsent && m.doubt != "": // what was sent once is always sent
		a = nothing
	case a == refused && m.has:
		a = later
	}
	m.seen[a]++
	m.last = a
	if (a == kept || a == later || a == silent || a == leaving) && !m.has {
		m.kept, m.has = append(m.kept, id), true
	}
	switch m.doubt = id; a {
	case kept, later, refused:
		m.settled[id], m.refused[id] = true, a == refused
		fallthrough
	case unsent:
		m.doubt, m.has = "", false
	}
	switch a {
	case kept:
		return record.Position(len(m.kept)), nil
	case later:
		return 0, fmt.Errorf("%w; %w", journal.ErrFull, journal.ErrLater)
	case refused:
		return 0, journal.ErrFull
	case unsent:
		return 0, fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	case leaving, left:
		m.gone()
		return 0, context.Canceled
	}
	return 0, fmt.Errorf("a call: %w", journal.ErrUnreached)
}

// text is what is in a call.
func text(entries []record.Entry) (s string) {
	for i := range entries {
		s += entries[i].Body.(record.Mark).Text + ","
	}
	return s
}

// bytes is how much a record needs for a call.
func bytes(entries []record.Entry) (n int) {
	for i := range entries {
		b, _ := entries[i].Append(nil)
		n += len(b)
	}
	return n
}

// A trial is a queue in front of a moody log, and what is known of it the slow way.
type trial struct {
	t      *rapid.T
	log    *moody
	q      *backlog.Queue
	taken  []string       // calls, in their order
	size   map[string]int // of each call
	losses int            // told by Drain
	full   *int           // how many found no room
}

// waiting is what was taken and has no answer.
func (r *trial) waiting() (calls, bytes int) {
	for _, id := range r.taken {
		if !r.log.settled[id] {
			calls, bytes = calls+1, bytes+r.size[id]
		}
	}
	return calls, bytes
}

func (r *trial) drain(ctx context.Context) {
	err := r.q.Drain(ctx, func(err error) {
		if r.losses++; !errors.Is(err, journal.ErrFull) {
			r.t.Fatalf("lost for %v", err)
		}
	})
	if n, _ := r.waiting(); (err == nil) != (n == 0) {
		r.t.Fatalf("%d wait, and it says %v", n, err)
	}
}

// give gives a call and holds the answer to what it has to be.
func (r *trial) give(ctx context.Context, what string, away bool, call []record.Entry) {
	id := text(call)
	n, b := r.waiting()
	room := n == 0 || n < r.q.Calls && b+r.size[id] <= r.q.Bytes
	asked := r.log.asked
	took := true
	switch what {
	case "push":
		if took = r.q.Push(call...); took != room {
			r.t.Fatalf("with %d calls of %d bytes waiting one of %d finds room: %t", n, b, r.size[id], took)
		}
	case "follow":
		r.q.Follow(call...)
	default:
		put := r.q.Append
		if what == "offer" {
			put = r.q.Offer
		}
		p, err := put(ctx, call...)
		later, unchanged := errors.Is(err, journal.ErrLater), errors.Is(err, journal.ErrUnchanged)
		given := r.log.asked > asked
		switch {
		case given == (n > 0 || away):
			r.t.Fatalf("%d wait, it is away: %t, and the log is asked: %t", n, away, given)
		case unchanged && (later || !errors.Is(err, journal.ErrUnreached)):
			r.t.Fatalf("%v contradicts itself", err)
		case what == "append" && unchanged == room, what == "offer" && unchanged != (!given || r.log.last == unsent):
			r.t.Fatalf("with %d calls of %d bytes waiting, %s of %d is answered with %v", n, b, what, r.size[id], err)
		case err == nil && int(p) != len(r.log.kept):
			r.t.Fatalf("%s is at %d", id, p)
		case what == "append" && unchanged:
			*r.full++
		}
		took = err == nil || later
	}
	if took {
		r.taken = append(r.taken, id)
	}
	clear(call) // is the caller's own
}

// What a queue has taken is in the log once, in the order in which it was taken, however the log
// answers meanwhile: but for what the log has refused, of which somebody is told, each once. What
// finds no room never gets to the log. Neither does what is refused where others wait.
func TestWhatIsTakenIsInTheLogOnceAndInOrder(t *testing.T) {
	seen := map[answer]int{}
	full, told := 0, 0
	enough := tried.All(tried.Each(seen, 20, kept, later, refused, unsent, silent, nothing, leaving, left), tried.Count(&full, 20), tried.Count(&told, 20))
	tried.Check(t, enough, func(t *rapid.T) {
		moods := rapid.SliceOfN(rapid.IntRange(0, int(answers)-1), 1, 8).Draw(t, "moods")
		m := &moody{t: t, settled: map[string]bool{}, refused: map[string]bool{}, seen: seen,
			answer: func() answer { return answer(rapid.SampledFrom(moods).Draw(t, "answer")) }}
		away := false
		r := &trial{t: t, log: m, size: map[string]int{}, full: &full,
			q: &backlog.Queue{Log: m, Calls: rapid.IntRange(1, 6).Draw(t, "calls"), Bytes: rapid.IntRange(50, 1500).Draw(t, "bytes"), Away: func() bool { return away }}}
		next := 0
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			ctx, cancel := context.WithCancel(context.Background())
			m.gone = cancel
			away = rapid.IntRange(0, 4).Draw(t, "away") == 0
			if what := rapid.SampledFrom([]string{"append", "append", "append", "offer", "push", "follow", "drain", "drain"}).Draw(t, "what"); what == "drain" {
				r.drain(ctx)
			} else {
				var call []record.Entry
				for range rapid.IntRange(1, 3).Draw(t, "entries") {
					next++
					call = append(call, journaltest.Mark(fmt.Sprint(next)))
				}
				r.size[text(call)] = bytes(call)
				r.give(ctx, what, away, call)
			}
			cancel()
			n, b := r.waiting()
			if calls, bytes := r.q.Waits(); calls != n || bytes != b {
				t.Fatalf("%d calls of %d bytes are said to wait, and %d of %d do", calls, bytes, n, b)
			}
		}
		m.answer = func() answer { return kept }
		r.drain(context.Background())
		want := slices.DeleteFunc(slices.Clone(r.taken), func(id string) bool { return m.refused[id] })
		if !slices.Equal(m.kept, want) {
			t.Fatalf("the log has %q, and should have %q", m.kept, want)
		}
		if len(r.taken)-len(want) != r.losses {
			t.Fatalf("%d of those that waited were refused, and %d are told of", len(r.taken)-len(want), r.losses)
		}
		told += r.losses
	})
}
