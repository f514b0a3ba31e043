package health

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		config Config
		says   string
	}{
		{Config{}, "0 channels"},
		{Config{Channels: -1}, "-1 channels"},
		{Config{Channels: 70000}, "70000 channels"},
		{Config{Channels: 10, Rows: 3, Columns: 4}, "3 rows of 4 columns"},
		{Config{Channels: 10, Rows: 3}, "3 rows of 0 columns"},
		{Config{Channels: 10, Rows: -1, Columns: -1}, "-1 rows"},
		{Config{Channels: 10, Together: [][]int{{1, 10}}}, "channel 10"},
		{Config{Channels: 10, Move: -3}, "-3"},
		{Config{Channels: 10, Move: nan}, "NaN"},
	} {
		if _, err := New(c.config); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want it refused for %q", c.config, err, c.says)
		}
	}
}

func TestNeighbours(t *testing.T) {
	m := monitor(t, Config{Channels: 14, Rows: 3, Columns: 4, Together: [][]int{{12, 13, 0}, {13, 0}}})
	for _, c := range []struct {
		i, direct int
		near      []uint16
	}{
		{5, 4, []uint16{1, 4, 6, 9, 0, 2, 8, 10}},
		{3, 2, []uint16{2, 7, 6}},
		{4, 3, []uint16{0, 5, 8, 1, 9}},
		{0, 2, []uint16{1, 4, 5, 12, 13}},
		{12, 0, []uint16{13, 0}},
		{13, 0, []uint16{12, 0}},
	} {
		near, direct := m.shape.around(c.i)
		if direct != c.direct || len(near) != len(c.near) {
			t.Errorf("around %d: %v, %d direct, want %v, %d", c.i, near, direct, c.near, c.direct)
			continue
		}
		for k := range near {
			if near[k] != c.near[k] {
				t.Errorf("around %d: %v, want %v", c.i, near, c.near)
			}
		}
	}
}

func TestSilent(t *testing.T) {
	r := newRig(t, Config{Channels: 4}, 100*time.Millisecond)
	wave := func(n, i int) float64 { return float64(100*i + n%7) }
	gone := func(n, i int) float64 {
		if i == 2 {
			return nan
		}
		return wave(n, i)
	}
	r.run(time.Minute, wave)
	left := r.at
	r.run(29*time.Second, gone)
	r.wants("29 s", nil)
	r.run(2*time.Second, gone)
	r.wants("31 s", map[int]State{2: Silent})
	if f := r.finding(2); f.Since.Sub(left).Abs() > 300*time.Millisecond || f.Reading < 200 || f.Reading > 206 || f.LeftOut {
		t.Errorf("%+v, want channel 2 silent since %v with its last reading", f, left)
	}
	r.run(time.Second, wave)
	r.wants("it is back", nil)

	// One reading in three is a channel that delivers.
	r.run(5*time.Minute, func(n, i int) float64 {
		if i == 1 && n%3 != 0 {
			return nan
		}
		return wave(n, i)
	})
	r.wants("losses", nil)
}

func TestSilentFromTheFirst(t *testing.T) {
	r := newRig(t, Config{Channels: 200}, time.Second)
	r.run(5*time.Minute, func(n, i int) float64 {
		if i >= 100 {
			return nan
		}
		return float64(n)
	})
	want := map[int]State{}
	for i := 100; i < 200; i++ {
		want[i] = Silent
	}
	r.wants("half of them never come", want)
	if f := r.finding(150); f.Since != r.m.first || f.Reading == f.Reading {
		t.Errorf("%+v, want it silent since the first scan, without a reading", f)
	}
}

// A single damaged scan, or a lost part, is not silence, even where a look at a
// cell comes round less often than silence takes.
func TestOneMissedLookIsNotSilence(t *testing.T) {
	r := newRig(t, Config{Channels: 2048}, 2*time.Second)
	r.run(10*time.Minute, func(n, i int) float64 { return float64(n) })
	r.run(6*time.Second, func(n, i int) float64 { return nan })
	r.wants("three scans without anything", nil)
}

// A pause of the source is not its channels' fault.
func TestPauseOfTheSource(t *testing.T) {
	r := newRig(t, bed, time.Second)
	body := sleeper()
	r.run(10*time.Minute, body)
	r.at = r.at.Add(24 * time.Hour)
	r.run(10*time.Minute, body)
	r.wants("a day without scans", nil)
}

func TestScansThatAreNotInOrderArePassedOver(t *testing.T) {
	r := newRig(t, Config{Channels: 3, Together: [][]int{{0, 1, 2}}}, time.Second)
	r.run(time.Hour, func(n, i int) float64 { return float64(n % 50 * (i + 1)) })
	before := *r.m
	r.m.Scan(r.at, []float64{nan, nan, nan}, 0)
	r.m.Scan(r.at-1, []float64{nan, nan, nan}, 0)
	r.m.Scan(r.at+1e9, []float64{1}, 0)
	if r.m.at != before.at || r.m.phase != before.phase {
		t.Error("a repeated, a stored or a short scan was taken")
	}
}

// A cell that answered falls to 0 while its neighbours stay under load.
func TestOpenLead(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(time.Hour, sleeper())
	broke := r.at
	still := rand.New(rand.NewPCG(5, 6))
	lies := func(n, i int) float64 {
		if i == under {
			return 0
		}
		if i/16 < 4 || i/16 > 27 {
			return 0
		}
		return float64(800 + still.IntN(3))
	}
	r.run(5*time.Minute, lies)
	r.wants("too early", nil)
	r.run(5*time.Minute, lies)
	r.wants("ten minutes", map[int]State{under: Open})
	if f := r.finding(under); f.Since.Sub(broke) > time.Minute || f.Since < broke || f.LeftOut {
		t.Errorf("%+v, want it open since %v and not left out", f, broke)
	}
	r.run(5*time.Minute, sleeper())
	r.wants("mended", nil)

	// Whoever gets up leaves all of them at 0.
	r.run(time.Hour, func(n, i int) float64 { return 0 })
	r.wants("nobody there", nil)
}

// A cell that has never had a load is not open when a body comes to lie around
// it and stays.
func TestIdleAmidLoadIsNotOpen(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(time.Hour, func(n, i int) float64 { return 0 })
	r.run(12*time.Hour, with(func(n, i int) float64 { return 900 }, map[int]func(int) float64{under: always(0)}))
	r.wants("twelve hours amid a load", nil)
}

// Whoever sits down and gets up makes all readings leap, and no lead is loose.
func TestLeapsOfAllAreNoLooseLeads(t *testing.T) {
	r := newRig(t, Config{Channels: 4, Together: [][]int{{0, 1, 2, 3}}}, 100*time.Millisecond)
	r.run(2*time.Hour, func(n, i int) float64 { return float64(n / 40 % 2 * (600 - 10*i)) })
	r.wants("up and down every eight seconds", nil)
}

// A loose lead lets its channel go and come while its neighbours stand still.
func TestLooseLead(t *testing.T) {
	r := newRig(t, Config{Channels: 4, Together: [][]int{{0, 1, 2, 3}}}, 100*time.Millisecond)
	r.run(time.Hour, func(n, i int) float64 { return float64(n / 50 % 10 * 60) })
	noise := rand.New(rand.NewPCG(7, 8))
	loose := func(n, i int) float64 {
		v := float64(500 + noise.IntN(3))
		if i == 1 && n/37%4 == 0 {
			return 0
		}
		return v
	}
	r.run(15*time.Minute, loose)
	r.wants("a loose lead", map[int]State{1: Open})
	r.run(5*time.Minute, func(n, i int) float64 { return float64(500 + noise.IntN(3)) })
	r.wants("five minutes of rest do not clear it", map[int]State{1: Open})
	r.run(3*time.Hour, func(n, i int) float64 { return float64(500 + noise.IntN(3)) })
	r.wants("it has held", nil)
}

// Of several faults, the one that says most is told.
func TestPrecedence(t *testing.T) {
	r := newRig(t, bed, time.Second)
	r.run(time.Hour, with(sleeper(), map[int]func(int) float64{under: always(0)}))
	r.wants("dead", map[int]State{under: Dead})
	r.run(5*time.Minute, with(sleeper(), map[int]func(int) float64{under: always(nan)}))
	r.wants("and then silent", map[int]State{under: Silent})
	r.run(time.Minute, with(sleeper(), map[int]func(int) float64{under: always(0)}))
	r.wants("back, as dead as before", map[int]State{under: Dead})
}

func TestMatOfATenthOfTheRate(t *testing.T) {
	r := newRig(t, bed, 10*time.Second)
	body := sleeper()
	slow := func(n, i int) float64 { return body(10*n, i) }
	r.run(8*time.Hour, with(slow, map[int]func(int) float64{under: always(0)}))
	r.wants("a scan every ten seconds", map[int]State{under: Dead})
	if r.m.at != sample.Instant(8*time.Hour) {
		t.Errorf("at %v", r.m.at)
	}
}

// A host that sets its clock changes no state, and moves since with it.
func TestStep(t *testing.T) {
	for _, by := range []time.Duration{-time.Hour, 26 * time.Hour} {
		r := newRig(t, bed, time.Second)
		broken := with(sleeper(), map[int]func(int) float64{under: always(0), under + 2: always(nan)})
		r.run(time.Hour, broken)
		want := map[int]State{under: Dead, under + 2: Silent}
		r.wants("before", want)
		dead, silent := r.finding(under), r.finding(under+2)
		r.m.Step(by)
		r.at = r.at.Add(by)
		r.wants("at once", want)
		r.run(10*time.Minute, broken)
		r.wants("ten minutes on", want)
		for i, was := range map[int]Finding{under: dead, under + 2: silent} {
			if f := r.finding(i); f.Since != was.Since.Add(by) {
				t.Errorf("stepped by %v: channel %d is %v since %v, want %v", by, i, f.State, f.Since, was.Since.Add(by))
			}
		}
		r.run(10*time.Minute, sleeper())
		r.wants("mended", nil)
	}
}
