package history

import (
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/stream/pipeline"
)

const ms = time.Millisecond

func one(lasts time.Duration) *Store {
	return New(1, func(int) []pipeline.Series {
		return []pipeline.Series{{Name: "ankle.pressure", Unit: "mmHg", Lasts: lasts}}
	})
}

// put takes in one reading that lasts as long as its series says.
func (s *Store) put(at sample.Instant, v float64) {
	s.Updated(&pipeline.Update{At: at, Now: at, Signals: []rules.Signal{
		{Name: "ankle.pressure", Value: v, At: at, Until: at.Add(s.places[0].series[0].Lasts)},
	}})
}

func sec(s float64) sample.Instant { return sample.Instant(s * 1e9) }

func TestSecondsAreWeightedWithTime(t *testing.T) {
	s := one(10 * time.Second)
	s.put(sec(0), 10)
	s.put(sec(0.75), 30) // stands for a quarter of a second
	s.put(sec(1.5), 50)
	s.put(sec(4), 20)
	a, err := s.Query(Query{From: 0, To: sec(4), Points: 4})
	if err != nil {
		t.Fatal(err)
	}
	l := a.Series[0]
	if want := []float64{15, 40, 50, 50}; !slices.Equal(l.Mean, want) {
		t.Errorf("means %v, want %v", l.Mean, want)
	}
	if want := []float64{10, 30, 50, 50}; !slices.Equal(l.Min, want) {
		t.Errorf("least %v, want %v", l.Min, want)
	}
	if want := []float64{30, 50, 50, 50}; !slices.Equal(l.Max, want) {
		t.Errorf("greatest %v, want %v", l.Max, want)
	}
}

func TestValueLastsSoLongAndThenThereIsAGap(t *testing.T) {
	s := one(2500 * ms)
	s.put(sec(0), 40)
	s.put(sec(10), 44)
	a, err := s.Query(Query{From: 0, To: sec(11), Points: 11})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range a.Series[0].Mean {
		known := i < 3 || i == 10
		if known != (v == v) {
			t.Errorf("second %d: %v, want known %t", i, v, known)
		}
	}
}

func TestRawReadingsWithGapsWhereTheyEnd(t *testing.T) {
	s := one(100 * ms)
	for _, at := range []float64{0, 0.05, 0.1, 0.5, 0.55} {
		s.put(sec(at), 100*at)
	}
	s.put(sec(0.6), math.NaN())
	a, err := s.Query(Query{From: 0, To: sec(1), Points: 100})
	if err != nil {
		t.Fatal(err)
	}
	l := a.Series[0]
	if want := []sample.Instant{0, sec(0.05), sec(0.1), sec(0.2), sec(0.5), sec(0.55), sec(0.6)}; !slices.Equal(l.T, want) {
		t.Errorf("instants %v, want %v", l.T, want)
	}
	for i, v := range l.Mean {
		if gap := i == 3 || i == 6; gap != (v != v) {
			t.Errorf("point %d is %v", i, v)
		}
	}
}

func TestQueriesThatCannotBeAnswered(t *testing.T) {
	s := one(time.Second)
	if _, err := s.Query(Query{From: 5, To: 5, Points: 1}); !errors.Is(err, ErrBackward) {
		t.Errorf("an empty span: %v", err)
	}
	if _, err := s.Query(Query{Names: []string{"soul.pressure"}, To: 1, Points: 1}); !errors.Is(err, ErrNoSeries) {
		t.Errorf("a series that is not there: %v", err)
	}
	var m Map
	if err := s.MapAt(0, 5, &m); !errors.Is(err, ErrNoMap) {
		t.Errorf("a map of a place without one: %v", err)
	}
}

// A program may ask for any time that there is; it must neither make the store
// work through centuries nor get more points than it asked for.
func TestSpansThatNobodyRemembers(t *testing.T) {
	s := one(time.Second)
	for i := range 5000 {
		s.put(sec(1.7e9+float64(i)), 10)
	}
	end := sec(1.7e9 + 5000)
	day := func(year int) sample.Instant { return sample.At(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)) }
	for _, q := range []Query{
		{From: day(1970), To: end},
		{From: day(1700), To: day(2200)}, // further apart than a Duration holds
		{From: sample.Past, To: sample.Never},
	} {
		q.Points = 600
		if a, err := s.Query(q); !errors.Is(err, ErrTooLong) {
			t.Errorf("from %v to %v: %v, %v", q.From, q.To, a, err)
		}
	}
	for _, q := range []Query{
		{From: end.Add(-MostSpan), To: end, Points: 1},
		{From: end.Add(-MostSpan), To: end, Points: 600},
		{From: sample.Past, To: sample.Past + sample.Instant(MostSpan), Points: 3},
		{From: sample.Never - sample.Instant(MostSpan), To: sample.Never, Points: 3},
	} {
		a, err := s.Query(q)
		if err != nil {
			t.Fatal(err)
		}
		l := a.Series[0]
		if len(l.T) > q.Points+1 || !slices.IsSorted(l.T) {
			t.Errorf("from %v to %v: %d points for %d, sorted %t", q.From, q.To, len(l.T), q.Points, slices.IsSorted(l.T))
		}
		last := l.Mean[len(l.Mean)-1]
		if q.To == end && last != 10 {
			t.Errorf("the last of %d points is %v, want 10", q.Points, last)
		}
	}
	best := time.Hour
	for range 5 {
		began := time.Now()
		if _, err := s.Query(Query{From: end.Add(-MostSpan), To: end, Points: 1}); err != nil {
			t.Fatal(err)
		}
		best = min(best, time.Since(began))
	}
	if best > 20*time.Millisecond {
		t.Errorf("a year takes %v at best, for which the pipeline waits", best)
	}
}

// Something that becomes due between readings measures nothing: there is no row
// of it, and none is lost for it.
func TestInstantsThatMeasureNothingCostNoRow(t *testing.T) {
	s := one(time.Second)
	put := func(at, measured sample.Instant) {
		s.Updated(&pipeline.Update{At: at, Now: at, Signals: []rules.Signal{
			{Name: "ankle.pressure", Value: 10, At: measured, Until: measured.Add(time.Second)}}})
	}
	for i := range 2000 {
		put(sec(float64(i)/100), sec(float64(i)/100))
	}
	var before, after Batch
	s.Read(0, 0, sample.Past, rawRows, &before)
	put(sec(19.995), sec(19.99))
	s.Read(0, 0, sample.Past, rawRows, &after)
	if !slices.Equal(before.At, after.At) || len(after.At) != rawRows {
		t.Errorf("%d rows from %v, then %d rows from %v", len(before.At), before.At[0], len(after.At), after.At[0])
	}
}

func TestSecondOfTwoReadingsAtTheSameInstantCounts(t *testing.T) {
	s := one(time.Second)
	s.put(sec(1), 40)
	s.put(sec(1), 60)
	s.put(sec(2), 60)
	a, err := s.Query(Query{From: sec(1), To: sec(2), Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	if mean := a.Series[0].Mean[0]; mean != 60 {
		t.Errorf("the mean is %v, want 60: the first of the two stood for no time", mean)
	}
	var b Batch
	s.Read(0, 0, sample.Past, 10, &b)
	if !slices.Equal(b.Values, []float32{40, 60, 60}) {
		t.Errorf("rows %v, want all three", b.Values)
	}
}

// Whatever comes in, an answer has no more points than asked for (and the one
// that a step begins before the span), in order, within what was put in.
func TestAnswersKeepTheirPromises(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		s := one(time.Duration(1+r.IntN(5000)) * ms)
		at := sec(r.Float64() * 1e9)
		first := at
		lo, hi := math.Inf(1), math.Inf(-1)
		for range 3000 {
			at = at.Add(time.Duration(r.ExpFloat64() * 2e9))
			v := 100 * r.Float64()
			if r.IntN(20) == 0 {
				v = math.NaN()
			} else {
				lo, hi = min(lo, v), max(hi, v)
			}
			s.put(at, v)
		}
		points := 1 + r.IntN(700)
		from := first.Add(time.Duration(r.Float64() * float64(at-first)))
		a, err := s.Query(Query{From: from, To: at, Points: points})
		if err != nil {
			t.Fatal(err)
		}
		l := a.Series[0]
		if len(l.T) > 2*points+1 || !slices.IsSorted(l.T) {
			t.Fatalf("%d points for %d, sorted %t", len(l.T), points, slices.IsSorted(l.T))
		}
		for i := range l.T {
			if l.Mean[i] == l.Mean[i] && !(float64(float32(lo)) <= l.Min[i] && l.Min[i] <= l.Mean[i]*1.000001 && l.Mean[i] <= l.Max[i]*1.000001 && l.Max[i] <= float64(float32(hi))) {
				t.Fatalf("point %d: %v %v %v outside of %v to %v", i, l.Min[i], l.Mean[i], l.Max[i], lo, hi)
			}
		}
	}
}

func TestNothingOlderThanTheMemoryComesBack(t *testing.T) {
	s := one(time.Second)
	for i := range 3 * 3600 {
		s.put(sec(float64(i)), float64(i))
	}
	var seconds []float64
	for hour := range 3 {
		a, err := s.Query(Query{From: sec(float64(hour * 3600)), To: sec(float64(hour+1) * 3600), Points: 3600})
		if err != nil {
			t.Fatal(err)
		}
		seconds = append(seconds, a.Series[0].Mean...)
	}
	for i, v := range seconds {
		if v == v && v != float64(i) {
			t.Fatalf("second %d has the value of second %v", i, v)
		}
		if age := 3*3600 - i; age <= 3600 && v != v || age > tierSeconds && v == v {
			t.Fatalf("second %d of %d: %v", i, 3*3600, v)
		}
	}
}

func TestReadJumpsAheadAndSaysSo(t *testing.T) {
	s := one(time.Second)
	for i := range 10 {
		s.put(sec(float64(i)/10), float64(i))
	}
	var b Batch
	s.Read(0, 0, 0, 100, &b)
	if len(b.At) != 10 || b.Skipped || b.Next != 10 {
		t.Errorf("all: %+v", b)
	}
	s.Read(0, 2, sec(0.75), 100, &b)
	if len(b.At) != 2 || !b.Skipped || b.Value(0, 0) != 8 {
		t.Errorf("the newest: %+v", b)
	}
	s.Read(0, 2, sec(60), 100, &b)
	if len(b.At) != 1 || b.Value(0, 0) != 9 {
		t.Errorf("the last one is told however old: %+v", b)
	}
	s.Read(0, 10, 0, 100, &b)
	if len(b.At) != 0 || b.Skipped {
		t.Errorf("nothing new: %+v", b)
	}
	for i := range 3 * rawRows {
		s.put(sec(1+float64(i)/100), 1)
	}
	s.Read(0, 10, 0, 1<<20, &b)
	if len(b.At) != rawRows || !b.Skipped {
		t.Errorf("after an overrun: %d rows, skipped %t", len(b.At), b.Skipped)
	}
}

func TestSeriesThatARowDoesNotConcernIsAbsent(t *testing.T) {
	s := New(1, func(int) []pipeline.Series {
		return []pipeline.Series{{Name: "a"}, {Name: "b"}, {Name: "a.used/r", Lasts: time.Second}}
	})
	update := func(at, a, b sample.Instant, holds []rules.Progress) {
		s.Updated(&pipeline.Update{At: at, Now: at, Holds: holds, Signals: []rules.Signal{
			{Value: 1, At: a, Until: sample.Never}, {Value: math.NaN(), At: b, Until: sample.Never},
		}})
	}
	update(1, 1, sample.Past, nil)
	update(2, 1, 2, []rules.Progress{{Condition: sample.Yes, Held: 1, OnDelay: 4}})
	update(3, 1, 2, nil) // a tick: no news
	var b Batch
	s.Read(0, 0, 0, 10, &b)
	if len(b.At) != 2 {
		t.Fatalf("%d rows, want 2", len(b.At))
	}
	got := []bool{IsAbsent(b.Value(0, 0)), IsAbsent(b.Value(0, 1)), IsAbsent(b.Value(0, 2)), IsAbsent(b.Value(1, 0)), IsAbsent(b.Value(1, 1)), IsAbsent(b.Value(1, 2))}
	if want := []bool{false, true, true, true, false, false}; !slices.Equal(got, want) {
		t.Errorf("absent %v, want %v", got, want)
	}
	if b.Value(1, 2) != 0.25 || !math.IsNaN(float64(b.Value(1, 1))) {
		t.Errorf("values %v", b.Values)
	}
}

func mat(rows, columns int) *Store {
	return New(1, func(int) []pipeline.Series { return []pipeline.Series{{Name: "mat.peak"}} })
}

func TestMapsNowAndThen(t *testing.T) {
	s := mat(1, 3)
	for i := range 4000 {
		at := sec(float64(i))
		s.Updated(&pipeline.Update{At: at, Now: at,
			Signals: []rules.Signal{{Value: 1, At: at, Until: at.Add(time.Second)}},
			Cells: rules.Cells{At: at, Rows: 1, Columns: 3, Values: []float64{float64(i) / 10, math.NaN(), 1e9},
				Loaded: []time.Duration{1500 * ms, 0, 100 * time.Hour}}})
	}
	var m Map
	s.Map(0, &m)
	if m.Version != 4000 || m.At != sec(3999) || m.Until != sec(4000) || m.Cells[0] != 399.9 || m.Cells[1] == m.Cells[1] {
		t.Errorf("now: %+v", m)
	}
	if want := []uint16{1, NoTime, MostTime}; !slices.Equal(m.Loaded, want) {
		t.Errorf("loaded %v, want %v", m.Loaded, want)
	}
	if err := s.MapAt(0, sec(2000), &m); err != nil {
		t.Fatal(err)
	}
	if age := sec(2000).Sub(m.At); age < 0 || age > 30*time.Second {
		t.Errorf("the map of 2000 s is from %v", m.At)
	}
	if want := float64(m.At) / 1e10; math.Abs(float64(m.Cells[0])-want) > OldMapStep/2+1e-6 || m.Cells[1] == m.Cells[1] {
		t.Errorf("cells %v, want the first to be %v and the second unknown", m.Cells, want)
	}
	if err := s.MapAt(0, sec(100), &m); !errors.Is(err, ErrNoMap) {
		t.Errorf("a map of more than an hour ago: %v", err)
	}
}

// A map lasts as long as its values do. In a silence there is none, and the one
// from before it does not stand in.
func TestNoMapOfASilence(t *testing.T) {
	s := mat(1, 1)
	put := func(at, measured float64, v float64, until sample.Instant) {
		s.Updated(&pipeline.Update{At: sec(at), Now: sec(at),
			Signals: []rules.Signal{{Value: v, At: sec(measured), Until: until}},
			Cells:   rules.Cells{At: sec(measured), Rows: 1, Columns: 1, Values: []float64{v}, Loaded: []time.Duration{0}}})
	}
	for i := range 10 {
		put(float64(i), float64(i), 40, sec(float64(i)+3))
	}
	put(12, 9, math.NaN(), sample.Never) // an alert lost its signal
	for i := 20; i < 30; i++ {
		put(float64(i), float64(i), 70, sec(float64(i)+3))
	}
	for at, want := range map[float64]float32{-1: 0, 0: 40, 9: 40, 11.5: 40, 12.5: 0, 15: 0, 19.9: 0, 20: 70, 25: 70, 32: 70, 34: 0} {
		var m Map
		err := s.MapAt(0, sec(at), &m)
		switch {
		case want == 0 && !errors.Is(err, ErrNoMap):
			t.Errorf("at %v s: %v from %v, want none", at, m.Cells, m.At)
		case want != 0 && (err != nil || m.Cells[0] != want || m.At > sec(at)):
			t.Errorf("at %v s: %v from %v, %v; want %v", at, m.Cells, m.At, err, want)
		}
	}
}

// The figure in the package comment: a bed of 2,048 cells with 40 series.
func TestMemoryOfABedIsBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a second")
	}
	series := make([]pipeline.Series, 40)
	series[0].Name = "mat.peak"
	heap := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := heap()
	s := New(1, func(int) []pipeline.Series { return series })
	u := &pipeline.Update{Signals: make([]rules.Signal, 40), Cells: rules.Cells{Rows: 32, Columns: 64, Values: make([]float64, 2048), Loaded: make([]time.Duration, 2048)}}
	for i := range 2 * 3600 {
		u.At = sec(float64(i))
		u.Now, u.Cells.At = u.At, u.At
		for k := range u.Signals {
			u.Signals[k].At, u.Signals[k].Until = u.At, u.At.Add(3*time.Second)
		}
		s.Updated(u)
	}
	took := float64(heap()-before) / 1e6
	if took > 2.8 {
		t.Errorf("two hours of a bed take %.1f MB, want no more than 2.8", took)
	}
	if n := testing.AllocsPerRun(100, func() { u.At++; s.Updated(u) }); n != 0 {
		t.Errorf("%v allocations an update, want none", n)
	}
	t.Logf("%.2f MB", took)
	runtime.KeepAlive(s)
}

func BenchmarkUpdateOfABed(b *testing.B) {
	series := make([]pipeline.Series, 40)
	series[0].Name = "mat.peak"
	s := New(1, func(int) []pipeline.Series { return series })
	u := &pipeline.Update{Signals: make([]rules.Signal, 40), Cells: rules.Cells{Rows: 32, Columns: 64, Values: make([]float64, 2048), Loaded: make([]time.Duration, 2048)}}
	b.ReportAllocs()
	for b.Loop() {
		u.At = u.At.Add(100 * ms)
		for k := range u.Signals {
			u.Signals[k].At, u.Signals[k].Until = u.At, u.At.Add(3*time.Second)
		}
		s.Updated(u)
	}
}
