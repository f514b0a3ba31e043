package export

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

// numbered is a track that counts its rows, each at the instant at gives it.
func numbered(rate float64, n int, at func(i int) time.Duration) Recording {
	return Recording{
		Header: Header{Start: start, End: after(at(n-1) + time.Second)},
		Tracks: []Track{{
			Signals: []Signal{{Name: "n"}}, Rate: rate,
			Rows: func(yield func(Row, error) bool) {
				for i := range n {
					if !yield(Row{At: after(at(i)), Values: []float64{float64(i)}}, nil) {
						return
					}
				}
			},
		}},
	}
}

// records goes through the records of a grid, of which its lanes hold one after the other, and ends it.
func records(t *testing.T, g *grid) func(yield func() bool) {
	return func(yield func() bool) {
		defer g.stop()
		for {
			more, err := g.next()
			if err != nil {
				t.Fatal(err)
			}
			if !more || !yield() {
				return
			}
		}
	}
}

// resampled returns the samples of the first signal until its last row.
func resampled(t *testing.T, r Recording) (samples []float64, lane *lane, l layout) {
	t.Helper()
	l, err := r.layout(DefaultIrregularRate)
	if err != nil {
		t.Fatal(err)
	}
	g := r.grid(t.Context(), &l)
	for range records(t, g) {
		samples = append(samples, g.lanes[0].out[0]...)
	}
	return samples, &g.lanes[0], l
}

// Jitter of up to a quarter of a step, about any phase: every row is one sample.
func TestJitterLosesNoRow(t *testing.T) {
	for _, phase := range []time.Duration{0, 3, 9, 10, 11, 17} {
		random := rand.New(rand.NewPCG(1, uint64(phase)))
		got, lane, l := resampled(t, numbered(50, 3000, func(i int) time.Duration {
			jitter := time.Duration(random.Int64N(int64(2*time.Millisecond+1)) - int64(time.Millisecond))
			return max(0, time.Duration(i)*20*time.Millisecond+phase*time.Millisecond+jitter)
		}))
		if l.duration != time.Second || !l.lanes[0].regular || l.lanes[0].n != 50 {
			t.Fatalf("layout %+v", l)
		}
		first := 0
		for got[first] != got[first] {
			first++
		}
		if first > 1 {
			t.Errorf("phase %d ms: the first row is sample %d", phase, first)
		}
		for i := range 3000 {
			if got[first+i] != float64(i) {
				t.Fatalf("phase %d ms: sample %d is row %v", phase, i, got[first+i])
			}
		}
		if lane.skipped != 0 {
			t.Errorf("phase %d ms: %d rows skipped", phase, lane.skipped)
		}
	}
}

// A clock 500 ppm fast over an hour of 50 a second: 90 rows too many. Each is
// left out once, no sample is more than three quarters of a step off.
func TestDriftSkipsOneRowAtATime(t *testing.T) {
	const n = 180000
	period := time.Duration(20e6 * (1 - 500e-6))
	got, lane, _ := resampled(t, numbered(50, n, func(i int) time.Duration { return time.Duration(i) * period }))
	if lane.skipped != 90 && lane.skipped != 89 {
		t.Errorf("%d rows skipped, want 90", lane.skipped)
	}
	last := int((n - 1) * period / (20 * time.Millisecond))
	for k, row := range got[:last] {
		if off := time.Duration(row)*period - time.Duration(k)*20*time.Millisecond; off.Abs() > 15*time.Millisecond {
			t.Fatalf("sample %d is row %v, %v off", k, row, off)
		}
	}
	// And one that is slow repeats samples.
	slow := time.Duration(20e6 * (1 + 500e-6))
	_, lane, _ = resampled(t, numbered(50, n/10, func(i int) time.Duration { return time.Duration(i) * slow }))
	// Nine within the rows, and those that hold the last row until it is stale.
	if held := lane.repeated - 50; lane.skipped != 0 || held < 8 || held > 10 {
		t.Errorf("%d skipped, %d repeated", lane.skipped, lane.repeated)
	}
}

// The value in force at each sample of an irregular track, and for no longer
// than it lasts: worked out row by row.
func TestZeroOrderHold(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	var rows []Row
	at := time.Duration(0)
	for i := range 2000 {
		at += time.Duration(random.ExpFloat64() * 3e8)
		v := float64(i)
		if i%17 == 0 {
			v = math.NaN()
		}
		rows = append(rows, Row{At: after(at), Values: []float64{v}})
	}
	const stale = 700 * time.Millisecond
	track := single("x", "", 0, rows...)
	track.StaleAfter = stale
	r := Recording{Header: Header{Start: start, End: after(at + time.Second)}, Tracks: []Track{track}}
	l, err := r.layout(20)
	if err != nil {
		t.Fatal(err)
	}
	g := r.grid(t.Context(), &l)
	known, unknowns := 0, 0
	for range records(t, g) {
		for k, got := range g.lanes[0].out[0] {
			now := g.begin().Add(time.Duration(k) * 50 * time.Millisecond)
			want := math.NaN()
			for _, p := range rows {
				if p.At <= now && now.Sub(p.At) < stale {
					want = p.Values[0]
				} else if p.At <= now {
					want = math.NaN()
				}
			}
			if got != want && (got == got || want == want) {
				t.Fatalf("at %v: %v, want %v", now.Sub(start), got, want)
			}
			if want == want {
				known++
			} else {
				unknowns++
			}
		}
	}
	if known < 1000 || unknowns < 100 {
		t.Errorf("%d known and %d unknown samples are too few to tell", known, unknowns)
	}
}

// Two rows a month apart cost no walk through the month.
func TestLongGapsAreSkipped(t *testing.T) {
	const month = 31 * 24 * time.Hour
	r := numbered(50, 2, func(i int) time.Duration { return time.Duration(i) * month })
	f, e := writeEDF(t, r, EDFOptions{})
	if f.Records != 2 || e.kind != "EDF+D" || e.onset[len(e.onset)-1] < month.Seconds()-1 {
		t.Errorf("%d records, %s, last at %v s", f.Records, e.kind, e.onset[len(e.onset)-1])
	}
}

func TestRecordingsThatContradictThemselves(t *testing.T) {
	for name, spoil := range map[string]func(r *Recording){
		"no time":         func(r *Recording) { r.Header.End = r.Header.Start },
		"no track":        func(r *Recording) { r.Tracks = nil },
		"no signal":       func(r *Recording) { r.Tracks[0].Signals = nil },
		"no rows":         func(r *Recording) { r.Tracks[1].Rows = nil },
		"negative rate":   func(r *Recording) { r.Tracks[0].Rate = -1 },
		"no name":         func(r *Recording) { r.Tracks[0].Signals[1].Name = "" },
		"a name twice":    func(r *Recording) { r.Tracks[0].Signals[1].Name = "battery.charge" },
		"range":           func(r *Recording) { r.Tracks[0].Signals[0].Low = 1 },
		"row too late":    func(r *Recording) { r.Header.End = after(3 * time.Second) },
		"row too early":   func(r *Recording) { r.Header.Start = after(time.Millisecond) },
		"too few values":  func(r *Recording) { r.Tracks[0].Signals = append(r.Tracks[0].Signals, Signal{Name: "x"}) },
		"back in time":    func(r *Recording) { r.Tracks[1].Rows = backwards(after(2), after(1)) },
		"notes backwards": func(r *Recording) { r.Annotations = notes(Annotation{At: after(2)}, Annotation{At: after(1)}) },
	} {
		for format, export := range formats {
			if format == "fhir" && name == "notes backwards" { // it has none
				continue
			}
			r := bench()
			spoil(&r)
			if err := export(t.Context(), r, t.TempDir(), Options{}); !errors.Is(err, ErrRecording) {
				t.Errorf("%s, %s: %v", name, format, err)
			}
		}
	}
}

func backwards(at ...sample.Instant) func(func(Row, error) bool) {
	return func(yield func(Row, error) bool) {
		for _, at := range at {
			if !yield(Row{At: at, Values: []float64{1}}, nil) {
				return
			}
		}
	}
}

func TestLayout(t *testing.T) {
	for _, c := range []struct {
		rates    []float64
		channels int
		want     string
	}{
		{[]float64{50}, 24, "1s [50]"},
		{[]float64{50, 1, 0}, 4, "1s [50 1 10]"},
		{[]float64{12.5}, 4, "2s [25]"},
		{[]float64{0.1, 50}, 4, "10s [1 500]"},
		{[]float64{11.1}, 12, "10s [111]"},
		{[]float64{1.0 / 3}, 1, "3s [1]"},
		{[]float64{1.0 / 60}, 1, "1m0s [1]"},
		{[]float64{10}, 2048, "1s [10]"},
		{[]float64{50}, 2048, "200ms [10]"},
		{[]float64{math.Pi}, 1, "1s [4]"},
		{[]float64{1.0 / 300}, 1, "1s [1]"},
	} {
		var r Recording
		for _, rate := range c.rates {
			r.Tracks = append(r.Tracks, Track{Rate: rate, Signals: make([]Signal, c.channels)})
		}
		l, err := r.layout(DefaultIrregularRate)
		if err != nil {
			t.Errorf("%v: %v", c.rates, err)
			continue
		}
		var n []string
		for i := range l.lanes {
			n = append(n, fmt.Sprint(l.lanes[i].n))
		}
		if got := fmt.Sprintf("%v [%s]", l.duration, strings.Join(n, " ")); got != c.want {
			t.Errorf("%d channels at %v: %s, want %s", c.channels, c.rates, got, c.want)
		}
	}
	r := Recording{Tracks: []Track{{Rate: 1, Signals: make([]Signal, 30000)}}}
	if _, err := r.layout(1); !errors.Is(err, ErrRecording) || !strings.Contains(err.Error(), "export fewer signals") {
		t.Errorf("30,000 signals: %v", err)
	}
}
