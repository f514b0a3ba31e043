package ingest

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/health"
	"weald/ingest/sample"
)

// Cells of a mat of 32 x 16 under a sleeper, and what is the matter with them.
const (
	limp    = 12*16 + 5  // answers nothing any more after ten minutes
	heavy   = 20*16 + 9  // at its rail from ten to thirty minutes, then just below
	steady  = 16*16 + 11 // the same high reading from the first scan on
	dropped = 10 * 60    // seconds until limp and heavy
	eased   = 30 * 60
)

var lost = []int{8*16 + 4, 10*16 + 10, 14*16 + 7, 18*16 + 5, 24*16 + 8} // never answer

// asleep returns what a mat reads in second n: two minutes without anybody, then
// a body that turns every 100 s.
func asleep(r *rand.Rand, n int, raw []float64) {
	for i := range raw {
		row, column := i/16, i%16
		switch raw[i] = 0; {
		case slices.Contains(lost, i):
		case i == steady:
			raw[i] = 3000
		case i == limp && n >= dropped:
		case i == heavy && n >= eased:
			raw[i] = 4000
		case i == heavy && n >= dropped:
			raw[i] = 4095
		case n >= 120 && row >= 4 && row <= 27 && column >= 3 && column <= 12:
			raw[i] = float64(400 + 20*row + n/100%4*150 + r.IntN(3) - 1)
		}
	}
}

// mattress is a packed bridge with that mat.
func mattress(l Link) Bridge {
	return Bridge{ID: "hub", Link: l, Format: Format{Kind: Packed}, Sources: []Source{{
		Number: 7, ID: "hub/mat", Channels: 512, Rate: 1, StaleAfter: 3 * time.Second,
		Calibration: []calib.Line{{Slope: 0.05, U: math.NaN()}},
		Rows:        32, Columns: 16, Groups: [][]int{lost, {lost[0], heavy, steady, limp}, {0, 1}},
	}}}
}

// packed sends a frame of the mat, and lets a second pass.
func (r *rig) packed(f *frame.Frame) {
	r.t.Helper()
	f.Source, f.Seq, f.Millis = 7, r.seq, 1000*r.seq
	b, err := frame.AppendWire(nil, f, frame.U12)
	if err != nil {
		r.t.Fatal(err)
	}
	r.seq++
	r.link.send(b)
	r.pass(time.Second)
}

// night plays n seconds of asleep.
func (r *rig) night(n int) {
	noise := rand.New(rand.NewPCG(3, 4))
	raw := make([]float64, 512)
	for k := range n {
		asleep(noise, k, raw)
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
	}
}

func TestCellsThatDoNotAnswerAreLeftOutAndNoLoadIs(t *testing.T) {
	bubble(t, mattress, func(r *rig) {
		const lasts = 45 * 60
		r.night(lasts)
		scans := r.scans()
		if len(scans) != lasts {
			t.Fatalf("%d scans, want %d", len(scans), lasts)
		}
		last := scans[lasts-1].Values
		for i, v := range last {
			gone := i == limp || slices.Contains(lost, i)
			if sample.IsUnknown(v) != gone {
				t.Errorf("cell %d has the value %v at the end, left out should be %v", i, v, gone)
			}
		}
		if last[heavy] != 200 || last[steady] != 150 {
			t.Errorf("the loads are %v and %v, want 200 and 150 mmHg", last[heavy], last[steady])
		}
		withheld := uint64(0)
		for n := range scans {
			v := scans[n].Values
			if railed := n >= dropped && n < eased; sample.IsUnknown(v[heavy]) != railed {
				t.Fatalf("scan %d: the heavy cell is %v, and unknown only while at its rail", n, v[heavy])
			}
			if v[steady] != 150 {
				t.Fatalf("scan %d: the steady load is %v", n, v[steady])
			}
			if n < 10*60 && sample.IsUnknown(v[lost[0]]) {
				t.Fatalf("scan %d: left out before there was evidence", n)
			}
			for i := range v {
				if i != heavy && sample.IsUnknown(v[i]) {
					withheld++
				}
			}
		}
		s := r.sup.Status()
		source := &s.Sources[0]
		c := &source.Condition.Channels
		if c.Dead != len(lost)+1 || c.Stuck != 1 || c.Saturated != 0 || c.LeftOut != len(lost)+1 || len(c.Findings) != len(lost)+2 {
			t.Errorf("report: %+v", c)
		}
		if want := "6 of 512 cells are dead, 1 is stuck; 6 left out of the signals."; c.Sentence() != want {
			t.Errorf("it says %q, want %q", c.Sentence(), want)
		}
		if source.Withheld != withheld || withheld == 0 {
			t.Errorf("%d readings counted as withheld, %d were", source.Withheld, withheld)
		}
		if got := source.Condition.Mute; !slices.Equal(got, []int{5, 3, 0}) {
			t.Errorf("of the groups %v do not answer", got)
		}
		if source.Trouble != "" {
			t.Errorf("the source is in trouble: %s", source.Trouble)
		}

		// It is a copy.
		c.Findings[0].State, source.Condition.Mute[0] = health.Sound, 99
		if again := r.sup.Status().Sources[0].Condition; again.Channels.Findings[0].State == health.Sound || again.Mute[0] == 99 {
			t.Error("whoever has a status can change it for others")
		}
	})
}

// What was left out live is left out in playback, bit for bit, across a lost
// connection and stored scans too.
func TestPlaybackLeavesOutTheSame(t *testing.T) {
	path := t.TempDir() + "/night.cap"
	taped := func(l Link) Bridge {
		b := mattress(l)
		b.Capture = path
		return b
	}
	var live []sample.Scan
	var status Status
	bubble(t, taped, func(r *rig) {
		r.night(20 * 60)
		r.link.hangUp()
		r.pass(5 * time.Second)
		old := make([]float64, 512) // one that was stored, and has a lost cell alive
		old[lost[0]] = 700
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: old, Stored: true})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: make([]float64, 512)})
		r.seq = 0 // a restart
		r.night(15 * 60)
		live, status = r.scans(), r.sup.Status()
	})
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	played, err := playAll(t.Context(), mattress(nil), bytes.NewReader(file), PlayOptions{Capture: true}, func(s *sample.Scan) {
		if n >= len(live) || s.At != live[n].At {
			t.Fatalf("scan %d was not live", n)
		}
		for i, v := range s.Values {
			if math.Float64bits(v) != math.Float64bits(live[n].Values[i]) {
				t.Fatalf("scan %d, cell %d: %v, live it was %v", n, i, v, live[n].Values[i])
			}
		}
		n++
	})
	if err != nil || n != len(live) {
		t.Fatalf("%d of %d scans, %v", n, len(live), err)
	}
	a, b := &status.Sources[0], &played.Sources[0]
	if a.Withheld == 0 || a.Withheld != b.Withheld || a.Condition.Channels.Sentence() != b.Condition.Channels.Sentence() {
		t.Errorf("live %d withheld: %s\nplayed %d: %s", a.Withheld, a.Condition.Channels.Sentence(), b.Withheld, b.Condition.Channels.Sentence())
	}
	if b.Stored != 1 || b.Epochs != 2 {
		t.Errorf("the story lacks its stored scan or its restart: %+v", b)
	}
}

func TestAScreenIsRefusedWithItsSource(t *testing.T) {
	b := mattress(&fakeLink{})
	b.Sources[0].Columns = 17
	if _, err := New(b, Options{Now: func() sample.Instant { return 0 }, Out: func(*sample.Scan) {}}); err == nil || !strings.Contains(err.Error(), "hub/mat") {
		t.Errorf("a mat larger than its source: %v", err)
	}
	b = mattress(&fakeLink{})
	b.Sources[0].Groups = [][]int{{512}}
	if _, err := New(b, Options{Now: func() sample.Instant { return 0 }, Out: func(*sample.Scan) {}}); err == nil || !strings.Contains(err.Error(), "channel 512") {
		t.Errorf("a group beyond the source: %v", err)
	}
}

func TestReadingsThatFallWithTheLoad(t *testing.T) {
	down, up := calib.Line{Slope: -0.1}, calib.Line{Slope: 0.1}
	for _, c := range []struct {
		lines []calib.Line
		want  bool
	}{
		{nil, false},
		{[]calib.Line{down}, true},
		{[]calib.Line{calib.None, calib.None, down}, true},
		{[]calib.Line{up, down, up}, false},
	} {
		if got := falling(c.lines); got != c.want {
			t.Errorf("%v fall: %v", c.lines, got)
		}
	}
}
