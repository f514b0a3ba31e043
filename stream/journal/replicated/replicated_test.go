package replicated

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
	"weald/stream/record"

	"github.com/nats-io/nats.go/jetstream"

	"github.com/nats-io/nats.go"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/journal/replicated/natstest"
	"weald/stream/journal/sqlite"
)

var files = sqlite.Options{Reserve: -1}

func open(t testing.TB, dir string, conn *nats.Conn, o Options) *Journal {
	t.Helper()
	j, err := Open(context.Background(), dir, files, conn, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j
}

// The promises hold for a record that goes through a log, whether it is opened again in
// its own folder or, every other time, made anew in an empty one from the log alone.
func TestConformance(t *testing.T) {
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set("5"); err != nil {
			t.Fatal(err)
		}
		defer f.Value.Set(f.DefValue)
	}
	c := natstest.Serve(t, 1)
	var records atomic.Int64
	journaltest.Run(t, func(t testing.TB) func() journal.Journal {
		conn := c.Connect()
		o := Options{Name: fmt.Sprintf("r-%d", records.Add(1)), Replicas: 1}
		dir, opened := t.TempDir(), 0
		return func() journal.Journal {
			if opened++; opened%2 == 0 {
				dir = t.TempDir()
			}
			return open(t, dir, conn, o)
		}
	})
}

// alike fails if two machines do not have the same.
func alike(t *testing.T, a, b journal.Journal) {
	t.Helper()
	ctx := t.Context()
	entries := func(j journal.Journal) []record.Entry { return journaltest.Gather(t, j.Entries(ctx, journal.Query{})) }
	inputs := func(j journal.Journal) (all []string) { // as text, since nothing is like an unknown reading
		for _, in := range journaltest.Gather(t, j.Inputs(ctx, 0, 1<<62)) {
			switch {
			case in.Scan != nil:
				all = append(all, fmt.Sprintf("%s %+v", in.Source, *in.Scan))
			case in.Tick != nil:
				all = append(all, fmt.Sprintf("%+v", *in.Tick))
			default:
				all = append(all, fmt.Sprintf("%+v", *in.Entry))
			}
		}
		return all
	}
	documents := func(j journal.Journal) []record.Document { return journaltest.Gather(t, j.Documents(ctx, "")) }
	if x, y := entries(a), entries(b); !reflect.DeepEqual(x, y) {
		t.Errorf("one has %d entries, another %d, or they differ", len(x), len(y))
	}
	if x, y := inputs(a), inputs(b); !slices.Equal(x, y) {
		t.Errorf("one has %d inputs, another %d, or they differ", len(x), len(y))
	}
	if x, y := documents(a), documents(b); !reflect.DeepEqual(x, y) {
		t.Errorf("documents are %v and %v", x, y)
	}
	journaltest.Sound(t, a)
	journaltest.Sound(t, b)
}

// caughtUp waits until one machine has all entries and inputs that another has.
func caughtUp(t *testing.T, c *natstest.Cluster, behind, ahead journal.Journal) {
	t.Helper()
	want, err := ahead.Head(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	c.Eventually("it does not catch up", func() bool {
		got, err := behind.Head(t.Context())
		return err == nil && got.Position >= want.Position && got.Ord >= want.Ord
	})
}

// Two machines write to one record, on three servers of which the leader and then another
// is stopped and comes back: what was acknowledged is there, once, on both, in one order.
func TestServersAreStopped(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 3)
	o := Options{Name: "ward", Replicas: 3}
	a, b := open(t, t.TempDir(), c.Connect(), o), open(t, t.TempDir(), c.Connect(), o)
	stop := make(chan struct{})
	var writing sync.WaitGroup
	kept := make([]int, 2)
	for i, j := range []*Journal{a, b} {
		writing.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
				}
				if _, err := j.Append(t.Context(), journaltest.Mark(fmt.Sprintf("%d-%d", i, n))); err != nil {
					t.Error(err)
					return
				}
				kept[i] = n + 1
				if i == 1 {
					continue
				}
				block := journaltest.Block("hub/mat", uint64(10*n+1), 1, 3, noon.Add(time.Duration(n)*time.Second))
				if err := j.AppendReadings(t.Context(), []record.Block{block}, nil); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	more := func() {
		t.Helper()
		from, _ := a.Head(t.Context())
		c.Eventually("nothing more is kept", func() bool {
			now, err := b.Head(t.Context())
			return err == nil && now.Position > from.Position+20
		})
	}
	more()
	info, err := a.stream.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{c.Named(info.Cluster.Leader), 0} {
		c.Stop(i)
		more()
		c.Start(i)
	}
	close(stop)
	writing.Wait()
	caughtUp(t, c, b, a)
	caughtUp(t, c, a, b)
	alike(t, a, b)
	seen := map[string]int{}
	for _, e := range journaltest.Gather(t, a.Entries(t.Context(), journal.Query{})) {
		seen[e.Body.(record.Mark).Text]++
	}
	for i := range kept {
		for n := range kept[i] {
			if text := fmt.Sprintf("%d-%d", i, n); seen[text] != 1 {
				t.Errorf("mark %s is kept %d times", text, seen[text])
			}
		}
	}
	// A machine that begins now has it all too.
	alike(t, a, open(t, t.TempDir(), c.Connect(), o))
}

// Whoever is refused is refused everywhere, and of two who change one document at the
// same time one is.
func TestMachinesAgree(t *testing.T) {
	c := natstest.Serve(t, 1)
	o := Options{Name: "ward", Replicas: 1}
	a, b := open(t, t.TempDir(), c.Connect(), o), open(t, t.TempDir(), c.Connect(), o)
	for version := range uint64(10) {
		var wins atomic.Int64
		var both sync.WaitGroup
		for i, j := range []*Journal{a, b} {
			both.Go(func() {
				_, err := j.PutDocument(t.Context(), record.Document{Name: "regions", Version: version, Body: []byte{byte(i)}})
				switch {
				case err == nil:
					wins.Add(1)
				case !errors.Is(err, journal.ErrConflict):
					t.Error(err)
				}
			})
		}
		both.Wait()
		if wins.Load() != 1 {
			t.Errorf("%d put version %d", wins.Load(), version+1)
		}
	}
	if _, err := a.Append(t.Context(), journaltest.Act(5)); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(t.Context(), journaltest.Act(5)); !errors.Is(err, journal.ErrOrder) {
		t.Errorf("the same ordinal from another machine: %v", err)
	}
	caughtUp(t, c, b, a)
	alike(t, a, b)
}

// Of two that claim the record one writes, and what the other had under way is refused on
// both, whatever order it comes in; a third that was not there agrees.
func TestOneWrites(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	o := Options{Name: "ward", Replicas: 1}
	a, b := open(t, t.TempDir(), c.Connect(), o), open(t, t.TempDir(), c.Connect(), o)
	mark := func(j *Journal, text string) error {
		_, err := j.Append(t.Context(), journaltest.Mark(text))
		return err
	}
	if err := errors.Join(mark(a, "anybody"), a.Claim(t.Context()), mark(a, "a")); err != nil {
		t.Fatal(err)
	}
	if err := mark(b, "b, which has not claimed"); !errors.Is(err, ErrSuperseded) {
		t.Errorf("who has not claimed: %v", err)
	}
	caughtUp(t, c, b, a)
	if err := errors.Join(b.Claim(t.Context()), mark(b, "b")); err != nil {
		t.Fatal(err)
	}
	if err := mark(a, "a, which does not know"); !errors.Is(err, ErrSuperseded) {
		t.Errorf("who was superseded: %v", err)
	}
	for range 5 {
		errs := make([]error, 2)
		var both sync.WaitGroup
		for i, j := range []*Journal{a, b} {
			both.Go(func() { errs[i] = j.Claim(t.Context()) })
		}
		both.Wait()
		if errs[0] == nil && errs[1] == nil && a.term.Load() == b.term.Load() || errs[0] != nil && errs[1] != nil {
			t.Errorf("both claimed: %v", errs)
		}
	}
	caughtUp(t, c, b, a)
	caughtUp(t, c, a, b)
	alike(t, a, b)
	third := open(t, t.TempDir(), c.Connect(), o)
	alike(t, a, third)
	if third.current.Load() < 3 {
		t.Errorf("who came later knows of term %d", third.current.Load())
	}
	if err := mark(third, "third"); !errors.Is(err, ErrSuperseded) {
		t.Errorf("a third: %v", err)
	}
}

// A call whose outcome nobody knows, as no server answered in time, is made again and
// kept once.
func TestDoubtIsNoDouble(t *testing.T) {
	c := natstest.Serve(t, 1)
	j := open(t, t.TempDir(), c.Connect(), Options{Name: "ward", Replicas: 1})
	if _, err := j.Append(t.Context(), journaltest.Mark("before")); err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		// The call has been sent, or not, when its context ends.
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(i)*300*time.Microsecond)
		again := 0
		for {
			_, err := j.Append(ctx, journaltest.Mark(fmt.Sprint(i)))
			if cancel(); err == nil {
				break
			}
			again++
			ctx, cancel = context.WithTimeout(t.Context(), time.Minute)
		}
		t.Logf("%d: made again %d times", i, again)
	}
	c.Stop(0)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if _, err := j.Append(ctx, journaltest.Mark("in doubt")); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("without a server: %v", err)
	}
	c.Start(0)
	if _, err := j.Append(t.Context(), journaltest.Mark("in doubt")); err != nil {
		t.Error(err)
	}
	seen := map[string]int{}
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{})) {
		seen[e.Body.(record.Mark).Text]++
	}
	for _, text := range []string{"before", "0", "1", "2", "3", "4", "in doubt"} {
		if seen[text] != 1 {
			t.Errorf("%q is kept %d times", text, seen[text])
		}
	}
}

// What is larger than a message goes in parts; a machine that ended in the middle of one
// has not called.
func TestLargerThanAMessage(t *testing.T) {
	c := natstest.Serve(t, 1)
	o := Options{Name: "ward", Replicas: 1}
	a := open(t, t.TempDir(), c.Connect(), o)
	a.most = 1000
	body, err := (&call{entries: []record.Entry{journaltest.Mark(strings.Repeat("lost ", 500))}}).append(nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.publish(t.Context(), label{0, "gone", 1, 1, 2}, body[:1000]); err != nil {
		t.Fatal(err)
	}
	state := make([]byte, 30_000) // which no compressor makes smaller
	random := rand.New(rand.NewPCG(1, 2))
	for i := range state {
		state[i] = byte(random.IntN(256))
	}
	if err := a.PutSnapshot(t.Context(), record.Snapshot{At: noon, Body: state}); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Append(t.Context(), journaltest.Mark("after")); err != nil {
		t.Fatal(err)
	}
	b := open(t, t.TempDir(), c.Connect(), o)
	s, err := b.Snapshot(t.Context(), 0)
	if err != nil || !bytes.Equal(s.Body, state) {
		t.Errorf("a snapshot of %d bytes came as %d: %v", len(state), len(s.Body), err)
	}
	alike(t, a, b)
}

// A folder that is left at any moment, as a crash leaves it, is taken up and becomes what
// the others have.
func TestCrashes(t *testing.T) {
	c := natstest.Serve(t, 1)
	o := Options{Name: "ward", Replicas: 1}
	dir := t.TempDir()
	a := open(t, dir, c.Connect(), o)
	var left []string
	for n := range 60 {
		if _, err := a.Append(t.Context(), journaltest.Mark(fmt.Sprint(n))); err != nil {
			t.Fatal(err)
		}
		block := journaltest.Block("hub/mat", uint64(10*n+1), 1, 3, noon.Add(time.Duration(n)*time.Second))
		if err := a.AppendReadings(t.Context(), []record.Block{block}, nil); err != nil {
			t.Fatal(err)
		}
		if n%20 == 7 {
			to := filepath.Join(t.TempDir(), "left")
			if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			left = append(left, to)
		}
	}
	for _, dir := range left {
		alike(t, a, open(t, dir, c.Connect(), o))
	}
}

// A folder and a log that do not belong together stay apart.
func TestForeign(t *testing.T) {
	c := natstest.Serve(t, 1)
	conn := c.Connect()
	dir := t.TempDir()
	j := open(t, dir, conn, Options{Name: "ward", Replicas: 1})
	if _, err := j.Append(t.Context(), journaltest.Mark("one")); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), dir, files, conn, Options{Name: "other", Replicas: 1}); !errors.Is(err, journal.ErrForeign) {
		t.Errorf("the folder of another log: %v", err)
	}
	alone := t.TempDir()
	s, err := sqlite.Open(t.Context(), alone, files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(t.Context(), journaltest.Mark("alone")); err != nil {
		t.Fatal(err)
	}
	s.Close()
	if _, err := Open(t.Context(), alone, files, conn, Options{Name: "ward", Replicas: 1}); !errors.Is(err, journal.ErrForeign) {
		t.Errorf("a record of one machine and a log that began without it: %v", err)
	}
	// A log that begins with it is another thing.
	grown := open(t, alone, conn, Options{Name: "grown", Replicas: 1})
	if _, err := grown.Append(t.Context(), journaltest.Mark("together")); err != nil {
		t.Error(err)
	}
	if _, err := Open(t.Context(), t.TempDir(), files, conn, Options{Name: "a.b"}); err == nil {
		t.Error("a name with a dot")
	}
}

// A log that has lost messages, or has let go of them, is not followed over the hole.
func TestHoles(t *testing.T) {
	for name, c := range map[string]struct {
		at   sqlite.Followed
		base base
		head journal.Head
		log  jetstream.StreamState
		want error
		next uint64
	}{
		"the first":         {base: base{log: "x"}, log: jetstream.StreamState{FirstSeq: 1}, next: 1},
		"goes on":           {at: sqlite.Followed{Log: "x", Applied: 7, Next: 8}, base: base{log: "x"}, log: jetstream.StreamState{FirstSeq: 3, LastSeq: 7}, next: 8},
		"let go of":         {at: sqlite.Followed{Log: "x", Applied: 7, Next: 8}, base: base{log: "x"}, log: jetstream.StreamState{FirstSeq: 9, LastSeq: 20}, want: journal.ErrBroken},
		"acknowledged lost": {at: sqlite.Followed{Log: "x", Applied: 7, Next: 8}, base: base{log: "x"}, log: jetstream.StreamState{FirstSeq: 1, LastSeq: 6}, want: journal.ErrBroken},
		"another":           {at: sqlite.Followed{Log: "y", Applied: 7, Next: 8}, base: base{log: "x"}, want: journal.ErrForeign},
		"of its own":        {head: journal.Head{Position: 3}, base: base{log: "x"}, want: journal.ErrForeign},
	} {
		at, err := begin(c.at, c.base, c.head, c.log, false)
		if !errors.Is(err, c.want) || err == nil && at.Next != c.next {
			t.Errorf("%s: from %d, %v", name, at.Next, err)
		}
	}
}

// A machine that follows knows while its servers are gone that they send nothing, also while
// it has nothing to write itself.
func TestSilenceIsKnown(t *testing.T) {
	t.Parallel()
	c := natstest.Serve(t, 1)
	j := open(t, t.TempDir(), c.Connect(), Options{Name: "ward", Replicas: 1})
	if lasts, why := j.unheard.Lasts(); lasts > 0 || why != nil {
		t.Errorf("servers that answer are silent for %v: %v", lasts, why)
	}
	c.Stop(0)
	c.Eventually("it is not known that they are gone", func() bool { lasts, _ := j.unheard.Lasts(); return lasts > time.Second })
	c.Start(0)
	c.Eventually("it is not known that they are there again", func() bool { lasts, _ := j.unheard.Lasts(); return lasts == 0 })
}
