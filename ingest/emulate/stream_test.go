package emulate

import (
	"io"
	"math"
	"slices"
	"testing"
	"time"
)

// ramp is a model whose pressure tells the time.
type ramp struct{}

func (ramp) At(t time.Duration, mmHg []float64) {
	for i := range mmHg {
		mmHg[i] = t.Seconds() + float64(i)
	}
}

var exact = Sensor{PerMMHg: 10, Top: 4095}

// listed yields scans from a list.
type listed []Scan

func (l *listed) Next(s *Scan) error {
	if len(*l) == 0 {
		return io.EOF
	}
	*s = (*l)[0]
	*l = (*l)[1:]
	return nil
}

func TestSampledMeasuresAtItsRate(t *testing.T) {
	s := NewSampled(7, 3, 4, ramp{}, exact, 1)
	var scan Scan
	for n := range 9 {
		if err := s.Next(&scan); err != nil {
			t.Fatal(err)
		}
		at := time.Duration(n) * 250 * time.Millisecond
		want := []float64{math.Round(10 * at.Seconds()), math.Round(10*at.Seconds() + 10), math.Round(10*at.Seconds() + 20)}
		if scan.Source != 7 || scan.At != at || !slices.Equal(scan.Values, want) || scan.Lost != 0 {
			t.Fatalf("scan %d is %+v, want %v at %v", n, scan, want, at)
		}
	}
	s.SkipTo(10 * time.Second)
	if s.Next(&scan); scan.At != 10*time.Second || scan.Lost != 31 {
		t.Errorf("after skipping: %v with %d lost, want 10s and 31", scan.At, scan.Lost)
	}
}

func TestSensorsSaturateAndDie(t *testing.T) {
	s := NewSampled(0, 1000, 1, ramp{}, Sensor{PerMMHg: 10, Top: 500, Dead: 0.1}, 3)
	var scan Scan
	s.Next(&scan)
	dead, top := 0, 0
	for i, v := range scan.Values {
		if v == 0 && i > 0 {
			dead++
		}
		if v == 500 {
			top++
		}
	}
	if dead < 60 || dead > 140 || top < 700 {
		t.Errorf("%d of 1000 cells are dead, want about 100; %d at the top of 500 counts", dead, top)
	}
}

func TestNoiseIsWhatItSays(t *testing.T) {
	src := noise(1, 2)
	var sum, squares float64
	const n = 200_000
	for range n {
		x := gauss(src)
		sum += x
		squares += x * x
	}
	if mean, sd := sum/n, math.Sqrt(squares/n); math.Abs(mean) > 0.01 || math.Abs(sd-1) > 0.01 {
		t.Errorf("mean %v and standard deviation %v, want 0 and 1", mean, sd)
	}
}

func TestMergedKeepsTheOrderOfTime(t *testing.T) {
	m := merge(
		&listed{{Source: 1, At: 1}, {Source: 1, At: 4}, {Source: 1, At: 9}},
		&listed{},
		&listed{{Source: 3, At: 2}, {Source: 3, At: 4}},
	)
	var got []uint16
	var s Scan
	for m.Next(&s) == nil {
		got = append(got, s.Source)
	}
	if want := []uint16{1, 3, 1, 3, 1}; !slices.Equal(got, want) {
		t.Errorf("sources %v, want %v", got, want)
	}
}

func TestMergedCountsWhatItSkips(t *testing.T) {
	m := merge(NewSampled(1, 1, 10, ramp{}, exact, 0), NewSampled(2, 1, 1, ramp{}, exact, 0))
	var s Scan
	m.Next(&s) // source 1 at 0; source 2's scan at 0 is at hand
	m.SkipTo(5 * time.Second)
	lost := map[uint16]int{}
	for range 11 {
		m.Next(&s)
		if s.At < 5*time.Second {
			t.Errorf("source %d at %v after skipping to 5 s", s.Source, s.At)
		}
		lost[s.Source] += s.Lost
	}
	if lost[1] != 49 || lost[2] != 5 {
		t.Errorf("lost %v, want 49 of source 1 and 5 of source 2", lost)
	}
}
