package archive

import (
	"context"
	"log/slog"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/journal/journaltest"
	"weald/stream/pipeline"
	"weald/stream/record"
)

const (
	second = sample.Instant(time.Second)
	ankle  = "ankle.pressure"
)

var ids = []string{"bench-1"}

func oneSeries(int) []pipeline.Series {
	return []pipeline.Series{{Name: ankle, Unit: "mmHg", Lasts: 3 * time.Second}}
}

// A life is one run of a daemon as far as history goes.
type life struct {
	t      *testing.T
	clock  *hostclock.Manual
	memory *history.Store
	arch   *Archivist
	reader *Reader
}

func begin(t *testing.T, j *journaltest.Memory, now sample.Instant) *life {
	l := &life{t: t, clock: hostclock.NewManual(now), memory: history.New(1, oneSeries)}
	l.arch = New(l.memory, ids, j, l.clock, slog.New(slog.DiscardHandler))
	l.reader = NewReader(l.memory, ids, j)
	return l
}

func (l *life) put(at sample.Instant, v float64) {
	l.memory.Updated(&pipeline.Update{At: at, Now: at, Signals: []rules.Signal{
		{Name: ankle, Value: v, At: at, Until: at.Add(3 * time.Second)}}})
}

// pass lets a minute pass.
func (l *life) pass() {
	l.clock.Advance(time.Minute)
	if err := l.arch.round(context.Background(), false); err != nil {
		l.t.Fatal(err)
	}
}

func (l *life) query(from, to sample.Instant, points int) *history.Answer {
	l.t.Helper()
	a, err := l.reader.Query(context.Background(), history.Query{From: from, To: to, Points: points})
	if err != nil {
		l.t.Fatal(err)
	}
	return a
}

// A night with gaps, in which the daemon is stopped twice: whatever is asked
// afterwards and, while an hour runs that is not summed up, of that hour, at
// whatever resolution, is what its seconds say, each counted once and all alike.
func TestAnswersAreThoseOfTheSeconds(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	began := sample.At(time.Date(2025, 11, 24, 21, 47, 0, 0, time.UTC))
	j := new(journaltest.Memory)
	truth := map[sample.Instant]float64{}
	at := began
	var l *life
	asked := 0
	ask := func(times int, unsettled time.Duration) {
		t.Helper()
		asked += right(t, r, l, truth, began, at, times, unsettled)
	}
	for _, lasting := range []time.Duration{100 * time.Minute, 7 * time.Minute, 4 * time.Hour} {
		l = begin(t, j, at)
		for end := at.Add(lasting); at < end; {
			for range 60 {
				if silent := at/(400*second)%5 == 3; !silent {
					v := math.Round(40 + 30*r.NormFloat64())
					truth[at] = v
					l.put(at, v)
					// It lasts for 3 s, or to the next one.
					for k := sample.Instant(1); k < 3; k++ {
						truth[at+k*second] = v
					}
				}
				at += second
			}
			l.pass()
		}
		ask(20, 4*time.Minute)
		if err := l.arch.Finish(t.Context()); err != nil {
			t.Fatal(err)
		}
		for k := range truth { // the time down is not known
			if k >= at {
				delete(truth, k)
			}
		}
		at += 90 * second
	}
	ask(200, 100*time.Second)
	t.Logf("%d points were right", asked)
	if asked < 20000 {
		t.Error("too few to prove anything")
	}
}

// right asks about random stretches, holds the answers against the seconds that are
// true, and returns how many points were right.
func right(t *testing.T, r *rand.Rand, l *life, truth map[sample.Instant]float64, began, at sample.Instant, times int, unsettled time.Duration) (asked int) {
	t.Helper()
	for range times {
		from := began.Add(time.Duration(r.Int64N(int64(5 * time.Hour)))).Add(-time.Hour)
		to := from.Add(time.Duration(1 + r.Int64N(int64(8*time.Hour))))
		a := l.query(from, to, 1+r.IntN(900))
		line := a.Series[0]
		for i, begin := range line.T {
			if begin < at+3*second && begin+sample.Instant(a.Step) > at.Add(-unsettled) {
				continue // the last seconds are settled differently
			}
			lo, hi, total, n := math.Inf(1), math.Inf(-1), 0.0, 0.0
			for s := begin; s < begin+sample.Instant(a.Step) && (a.Step > time.Second || s < to); s += second {
				if v, ok := truth[s]; ok {
					lo, hi, total, n = min(lo, v), max(hi, v), total+v, n+1
				}
			}
			known := line.Mean[i] == line.Mean[i]
			edge := i == len(line.T)-1 && begin+sample.Instant(a.Step) > to
			if edge {
				continue // beyond the end of the question
			}
			if known != (n > 0) {
				t.Fatalf("%v to %v, step %v: at %v known %t, but %v seconds are", from, to, a.Step, begin, known, n)
			}
			if known && (line.Min[i] != lo || line.Max[i] != hi || math.Abs(line.Mean[i]-total/n) > 1e-3) {
				t.Fatalf("%v to %v, step %v: at %v %v %v %v, want %v %v %v", from, to, a.Step, begin, line.Min[i], line.Mean[i], line.Max[i], lo, total/n, hi)
			}
			asked++
		}
	}
	return asked
}

func TestSilenceIsKeptToItsBegin(t *testing.T) {
	j := new(journaltest.Memory)
	l := begin(t, j, 0)
	l.put(10*second, 40)
	l.pass()
	points, err := j.History(t.Context(), ids[0], ankle, record.Second, 0, hour, nil)
	if err != nil || len(points) != 0 {
		t.Fatalf("%v %v: a second that may go on is not kept", points, err)
	}
	for range 2 {
		l.pass()
	}
	points, err = j.History(t.Context(), ids[0], ankle, record.Second, 0, hour, nil)
	if err != nil || len(points) != 3 || points[2].At != 12*second || points[2].Mean != 40 {
		t.Errorf("%v %v: the value stood for three seconds", points, err)
	}
}

func TestWhatIsAskedIsChecked(t *testing.T) {
	l := begin(t, new(journaltest.Memory), 0)
	for _, q := range []history.Query{{From: 5, To: 5}, {From: sample.Past, To: sample.Never}, {To: 1, Names: []string{"soul.pressure"}}} {
		if _, err := l.reader.Query(t.Context(), q); err == nil {
			t.Errorf("%+v was answered", q)
		}
	}
	a := l.query(sample.Past, sample.Past+24*hour, 10)
	if len(a.Series[0].T) == 0 || a.Series[0].Mean[0] == a.Series[0].Mean[0] {
		t.Errorf("the beginning of time: %d points", len(a.Series[0].T))
	}
}

// Where seconds have been deleted on purpose, coarser points still tell.
func TestCoarserPointsStandInForFinerOnes(t *testing.T) {
	j := new(journaltest.Memory)
	l := begin(t, j, 0)
	var quarters []record.Point
	for i := range sample.Instant(40) {
		quarters = append(quarters, record.Point{At: i * sample.Instant(15*time.Minute), Min: 10, Mean: 20, Max: 30})
	}
	err := j.PutHistory(t.Context(), record.Stretch{Place: ids[0], Series: ankle, Tier: record.Quarter, Points: quarters})
	if err != nil {
		t.Fatal(err)
	}
	a := l.query(0, hour, 3600)
	if a.Step != 15*time.Minute || len(a.Series[0].Mean) != 4 || a.Series[0].Mean[3] != 20 {
		t.Errorf("step %v, %d points", a.Step, len(a.Series[0].Mean))
	}
}
