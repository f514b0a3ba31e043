package ingest

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/frame"
)

// burst sends n frames of a source at once, as a device with a clock of its own
// would number them, without time passing.
func (r *rig) burst(source uint16, n int) {
	r.t.Helper()
	var b []byte
	for range n {
		f := frame.Frame{Kind: frame.Readings, Source: source, Seq: r.seq, Millis: 100 * r.seq, Readings: []float64{1, 2}}
		r.seq++
		var err error
		if b, err = frame.AppendLine(b, &f); err != nil {
			r.t.Fatal(err)
		}
	}
	r.link.send(b)
	synctest.Wait()
}

func TestAFloodIsNamedAfterTenSeconds(t *testing.T) {
	bubble(t, func(l Link) Bridge { return twoLegs(l) }, func(r *rig) {
		for range 600 { // a minute in which all is well
			r.line(0, 1, 2)
			r.burst(1, 1)
		}
		if got := r.sup.Status().Trouble; got != "" {
			t.Fatalf("in trouble without reason: %s", got)
		}
		began := time.Now()
		for r.sup.Status().Trouble == "" {
			if time.Since(began) > 25*time.Second {
				t.Fatal("a flood is not named")
			}
			r.line(0, 1, 2)
			r.burst(1, 10)
		}
		// The stretch in which it began may be too little of a flood.
		if d := time.Since(began); d > 20500*time.Millisecond {
			t.Errorf("named after %v", d)
		}
		for range 200 {
			r.line(0, 1, 2)
			r.burst(1, 10)
		}
		s := r.sup.Status()
		const want = "source trolley/right sends 100 scans a second, configured are 10"
		if s.Trouble != want {
			t.Errorf("trouble is %q, want %q", s.Trouble, want)
		}
		for range 400 {
			r.line(0, 1, 2)
			r.burst(1, 1)
		}
		if got := r.sup.Status().Trouble; got != "" {
			t.Errorf("after the flood: %s", got)
		}
		if n := strings.Count(r.log.String(), "configured are 10"); n != 1 {
			t.Errorf("logged %d times:\n%s", n, r.log.String())
		}
	})
}

// The same frame over and over is a flood too, although it counts once.
func TestRepeatsAreAFlood(t *testing.T) {
	bubble(t, func(l Link) Bridge { return twoLegs(l) }, func(r *rig) {
		for range 250 {
			r.line(0, 1, 2)
			r.seq--
			for range 9 {
				r.burst(0, 1)
				r.seq--
			}
			r.seq++
			r.burst(1, 1)
		}
		if got := r.sup.Status().Trouble; !strings.HasPrefix(got, "source trolley/left sends 100 scans") {
			t.Errorf("trouble is %q", got)
		}
	})
}

// What was held up on its way comes in a burst, and that is no flood.
func TestABurstAfterASilenceIsNoFlood(t *testing.T) {
	bubble(t, func(l Link) Bridge { return twoLegs(l) }, func(r *rig) {
		for range 300 {
			r.line(0, 1, 2)
		}
		r.pass(5 * time.Minute)
		for range 600 { // five minutes of scans within a minute, and what comes meanwhile
			r.burst(0, 5)
			r.line(0, 1, 2)
			if got := r.sup.Status().Trouble; strings.Contains(got, "configured are") {
				t.Fatalf("held up: %s", got)
			}
		}
		for range 300 { // what was missing is made up for; the rest is a flood
			r.burst(0, 9)
			r.line(0, 1, 2)
		}
		if got := r.sup.Status().Trouble; !strings.HasPrefix(got, "source trolley/left sends") {
			t.Errorf("a flood after a silence is forgiven for ever: %q", got)
		}
	})
}

// A scan in parts is one, and what a device kept is none of now.
func TestWhatCountsTowardAFlood(t *testing.T) {
	var w flood
	for _, f := range []frame.Frame{
		{Kind: frame.Readings, More: true}, {Kind: frame.Readings}, {Kind: frame.Readings, Stored: true}, {Kind: frame.Status},
	} {
		w.count(&f)
	}
	if w.scans != 1 {
		t.Errorf("counted %v scans, want 1", w.scans)
	}
	w.tick(0, 0)
	if w.tick(0, 1e12); w.rate != 0 {
		t.Error("a source without a nominal rate floods")
	}
}
