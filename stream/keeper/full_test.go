package keeper_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
	"weald/stream/selfwatch"
)

// A crowded journal has no room for readings while it is full.
type crowded struct {
	journal.Journal
	full atomic.Bool
}

func (c *crowded) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if c.full.Load() {
		return journal.ErrFull
	}
	return c.Journal.AppendReadings(ctx, blocks, ticks)
}

// A running is a keeper that runs, in a bubble, with scans at the bubble's time.
type running struct {
	keeper    *keeper.Keeper
	plan      *rules.Plan
	ord       atomic.Uint64
	snapshots int
	end       func()
}

func newRunning(t *testing.T, j journal.Journal) *running {
	k, plan := wardKeeper(t, j, wallClock)
	r := &running{keeper: k, plan: plan}
	ctx, cancel := context.WithCancel(t.Context())
	r.end = func() { cancel(); synctest.Wait() }
	go r.keeper.Run(ctx, func(_ context.Context, f func(uint64, int, func(int, []byte) []byte)) error {
		r.snapshots++
		f(r.ord.Load(), len(plan.Places), func(_ int, b []byte) []byte { return b })
		return nil
	})
	return r
}

func (r *running) scan(source int) {
	now := sample.At(time.Now())
	r.keeper.Scan(r.ord.Add(1), &sample.Scan{Source: source, At: now, Arrived: now, Raw: make([]float64, r.plan.Sources[source].Channels)})
}

// Whenever a reading comes, a second later it is on the disk.
func TestReadingsAreAtMostASecondBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := new(journaltest.Memory)
		r := newRunning(t, j)
		defer r.end()
		rng := rand.New(rand.NewPCG(1, 2))
		for range 300 {
			time.Sleep(time.Duration(rng.IntN(700)) * time.Millisecond) // on the clock of the bubble, as below
			r.scan(rng.IntN(2))
			ord := r.ord.Load()
			time.AfterFunc(time.Second, func() {
				time.Sleep(time.Nanosecond) // what is due at that instant comes first
				if h, err := j.Head(context.Background()); err != nil || h.Ord < ord {
					t.Errorf("a second after reading %d came the record has come to %d, %v", ord, h.Ord, err)
				}
			})
		}
		time.Sleep(2 * time.Second)
	})
}

// A disk is full for so long that not all can wait for it. What waits is bounded,
// the newest of it is kept when there is room, and how much is lost of which
// source is counted and is in the record.
func TestTheOldestIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const most, extra = 20000, 1234
		j := &crowded{Journal: new(journaltest.Memory)}
		r := newRunning(t, j)
		k, plan, scan := r.keeper, r.plan, r.scan
		pass := func(d time.Duration) { time.Sleep(d); synctest.Wait() } // on the clock of the bubble
		scan(0)
		pass(time.Second)
		j.full.Store(true)
		scan(1)
		pass(2 * time.Second) // it has noticed
		for i := range most + extra - 1 {
			if scan(i % 2); i%1000 == 0 {
				pass(time.Second)
			}
		}
		for range 50_000 { // nobody sends any more: time alone passes
			for place := range plan.Places {
				k.Tick(r.ord.Add(1), place, sample.At(time.Now()))
			}
		}
		// One tick of each place stands for all, and takes the room of a scan.
		lost := uint64(extra + len(plan.Places))
		if c := k.Condition(); c.Pending != most || c.Lost != lost {
			t.Errorf("%d wait and %d are lost, want %d and %d", c.Pending, c.Lost, most, lost)
		}
		j.full.Store(false)
		pass(time.Second)
		r.end()

		ord := r.ord.Load()
		inputs := journaltest.Gather(t, j.Inputs(t.Context(), 1, ord))
		if n := len(inputs); n != 1+most {
			t.Errorf("%d inputs are kept, want %d", n, 1+most)
		}
		if first := inputs[1].Ord; first != 2+lost {
			t.Errorf("after the hole the first input is %d, want %d", first, 2+lost)
		}
		if last := inputs[len(inputs)-1]; last.Ord != ord || last.Tick == nil {
			t.Errorf("the last input is %+v, want the tick %d", last, ord)
		}
		if r.snapshots != 1 {
			t.Errorf("%d snapshots after the hole, want one at once", r.snapshots)
		}
		faults := journaltest.Gather(t, j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindFault}}))
		if len(faults) != 2 {
			t.Fatalf("%d faults, want the beginning and the end", len(faults))
		}
		if end := faults[1].Body.(record.Fault); !end.Over || !strings.Contains(end.Text, "1236 scans") || !strings.HasSuffix(end.Text, "lost: a/mat 618, b/leg 618") {
			t.Errorf("the record says %+v", end)
		}
	})
}

// A slow journal takes its time for readings, and fails none.
type slow struct {
	journal.Journal
	takes atomic.Int64 // a time.Duration
}

func (s *slow) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	time.Sleep(time.Duration(s.takes.Load())) // on the clock of the bubble
	return s.Journal.AppendReadings(ctx, blocks, ticks)
}

// There is room for what comes in some seconds, however much that is. A disk that is
// slower than that loses readings although it fails nothing: people are told, and there
// is a snapshot behind the hole.
func TestADiskThatIsSlow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &slow{Journal: new(journaltest.Memory)}
		r := newRunning(t, j)
		second := func() {
			for range 100 {
				for range 80 {
					r.scan(0)
				}
				time.Sleep(10 * time.Millisecond)
			}
		}
		for range 3 {
			second()
		}
		j.takes.Store(int64(3 * time.Second)) // what comes meanwhile is more than 20,000
		for range 8 {
			second()
		}
		if c := r.keeper.Condition(); c.Lost != 0 {
			t.Errorf("%d readings are lost to a disk that is three seconds late", c.Lost)
		}
		faults := func() []record.Fault {
			var all []record.Fault
			for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindFault}})) {
				all = append(all, e.Body.(record.Fault))
			}
			return all
		}
		if f := faults(); len(f) != 0 {
			t.Errorf("%+v", f)
		}
		before := r.snapshots
		j.takes.Store(int64(20 * time.Second))
		lost, since := uint64(0), time.Now() // the last of them
		for range 65 {                       // three writings that are too slow
			second()
			if now := r.keeper.Condition().Lost; now > lost {
				lost, since = now, time.Now()
			}
		}
		j.takes.Store(0)
		for f := faults(); len(f) < 2 && time.Since(since) < 10*time.Minute; f = faults() {
			if len(f) != 1 || f[0].Over || !strings.Contains(f[0].Text, "too slow") || !strings.Contains(f[0].Text, "a/mat") {
				t.Fatalf("of writings that are too slow is said %+v, want one fault", f)
			}
			time.Sleep(time.Second)
		}
		// What was lost during the last of them is known when it ends; since is known to a second.
		if took := time.Since(since); took < selfwatch.Settles-time.Second || took > selfwatch.Settles+25*time.Second {
			t.Errorf("it is over %v after the last reading was lost", took)
		}
		r.end()
		f := faults()
		if len(f) != 2 || !f[1].Over || !strings.Contains(f[1].Text, fmt.Sprintf("%d scans that came", lost)) || !strings.HasSuffix(f[1].Text, fmt.Sprintf("lost: a/mat %d", lost)) {
			t.Errorf("%d readings are lost, and of that is said %+v", lost, f)
		}
		if r.snapshots == before {
			t.Error("there is no snapshot behind the hole")
		}
	})
}

// Wherever a daemon is killed while a disk takes no readings, and however full it
// becomes: what was told is not told again, and people are never told that
// something is raised that is.
func TestNothingIsToldTwiceAfterAFullDisk(t *testing.T) {
	onFull := 0
	tried.Check(t, tried.Count(&onFull, 50), func(t *rapid.T) {
		j := &crowded{Journal: new(journaltest.Memory)}
		at := sample.Instant(0)
		for range rapid.IntRange(2, 4).Draw(t, "lives") {
			j.full.Store(false)
			l := begin(t, j)
			l.slow[0] = time.Duration(rapid.SampledFrom([]int{0, 0, 3, 7}).Draw(t, "slow")) * time.Hour
			fills := rapid.IntRange(0, 40).Draw(t, "fills")
			for i := range rapid.IntRange(0, 60).Draw(t, "inputs") {
				if j.full.Store(i >= fills); !j.full.Load() && rapid.IntRange(0, 3).Draw(t, "keep") == 0 {
					if err := l.keeper.Flush(context.Background()); err != nil {
						t.Fatal(err)
					}
				}
				at = at.Add(time.Duration(rapid.IntRange(1, 1500).Draw(t, "later")) * time.Millisecond)
				l.tick(at)
				raw := []float64{float64(rapid.SampledFrom([]int{20, 40}).Draw(t, "mmHg"))}
				source := rapid.IntRange(0, 1).Draw(t, "source")
				if source == 0 {
					raw = []float64{360, 360, 300, 300}
					if rapid.Bool().Draw(t, "heels") {
						raw = []float64{300, 300, 360, 360}
					}
				}
				was := len(l.told)
				l.scan(source, at, raw)
				if j.full.Load() {
					onFull += len(l.told) - was
				}
				if rapid.IntRange(0, 5).Draw(t, "somebody") == 0 {
					a := alert.Action{Verb: alert.Acknowledge, At: at, Who: "K-07"}
					l.act(rapid.SampledFrom(subjects).Draw(t, "alert"), a, false)
				}
			}
		}
		j.full.Store(false)
		begin(t, j)
		raised, seen := map[string]bool{}, map[string]bool{}
		for _, event := range transitions(t, j) {
			if text := line(&event); seen[text] {
				t.Fatalf("kept twice: %s", text)
			} else {
				seen[text] = true
			}
			if event.What == alert.Raised || event.What == alert.Cleared {
				if now := event.What == alert.Raised; raised[event.ID()] == now {
					t.Fatalf("%s although it was so already: %s", event.What, line(&event))
				} else {
					raised[event.ID()] = now
				}
			}
		}
	})
	t.Logf("%d changes were kept on a full disk", onFull)
}

// Whoever wants to know that the record is written hears it after everything that waited
// was, with readings and without; not while there is no room; and not after a snapshot
// that was not kept until another is.
func TestWritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &crowded{Journal: new(journaltest.Memory)}
		r := newRunning(t, j)
		defer r.end()
		within := func(d time.Duration) error {
			ctx, cancel := context.WithTimeout(t.Context(), d)
			defer cancel()
			return r.keeper.Written(ctx)
		}
		if err := within(3 * time.Second); err != nil {
			t.Errorf("with nothing to write: %v", err)
		}
		j.full.Store(true)
		r.scan(1)
		if err := within(time.Hour); err == nil || !strings.Contains(err.Error(), "the disk is full") {
			t.Errorf("on a full disk: %v", err)
		}
		j.full.Store(false)
		if err := within(3 * time.Second); err != nil {
			t.Errorf("with room again: %v", err)
		}
	})
}
