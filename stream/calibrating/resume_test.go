package calibrating

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/fit"
	"weald/ingest/calib/protocol"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A bench is a desk with a notebook under a cuff, whose daemon may end at any time.
type bench struct {
	t    *testing.T
	c    *cuff
	book *notebook
	d    *Desk
	raw  []float64
	last sample.Instant
}

func (b *bench) restart() {
	b.t.Helper()
	b.d, b.last = New(b.c.raw, func() sample.Instant { return b.c.now }, b.book), sample.Past
	if err := b.d.Resume(b.t.Context(), func(bridge, source string) (int, int, bool) { return 0, 2, bridge+"/"+source == "hub/leg" }); err != nil {
		b.t.Fatal(err)
	}
}

// wait does what Run does for so long.
func (b *bench) wait(d time.Duration) {
	for end := b.c.now.Add(d); b.c.now < end; {
		b.c.now = b.c.now.Add(100 * time.Millisecond)
		b.raw, b.last = b.d.step(b.raw, b.last)
		b.d.fit()
		b.d.save(b.t.Context())
		b.d.refuse(b.t.Context())
	}
}

func (b *bench) progress() *Progress {
	b.t.Helper()
	p, err := b.d.Progress()
	if err != nil {
		b.t.Fatal(err)
	}
	return p
}

// A run whose daemon ends at every turn, with and without a corrected gauge, a level
// read again and results not yet in force, comes to the same as one that was left alone.
func TestARunOutlivesItsDaemon(t *testing.T) {
	levels, err := protocol.Levels(0, 40, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	ask := Ask{Of: fit.Circumstances{Bridge: "hub", Source: "leg", By: "E-01", Reference: "gauge"}, Width: 2, Channels: []int{0, 1}, Fit: fit.Defaults(),
		Plan: protocol.Plan{Levels: levels, Dwell: 5 * time.Second}}
	outcome := func(end bool) (*record.Record, *bench) {
		b := &bench{t: t, c: &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}, book: &notebook{}}
		restart := func() {
			if end {
				b.restart()
			}
		}
		b.restart() // nothing goes on
		if err := b.d.Begin("c-1", ask); err != nil {
			t.Fatal(err)
		}
		for i, l := range levels {
			restart()
			b.c.pressure = l.Reference
			b.wait(20 * time.Second)
			if p := b.progress(); len(p.Taken) != i+1 || p.ID != "c-1" || p.Began != sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)) || !math.IsNaN(p.Taken[0].Raw[1]) && p.Taken[0].Raw[1] != 7 {
				t.Fatalf("level %d: %+v", i, p)
			}
			switch i {
			case 1:
				restart()
				if err := b.d.Gauge("c-1", 1, 10.5, false); err != nil {
					t.Fatal(err)
				}
				restart()
				if got := b.progress().Taken[1].Reference; got != 10.5 {
					t.Errorf("the gauge showed %g", got)
				}
			case 2:
				if err := b.d.Again("c-1"); err != nil {
					t.Fatal(err)
				}
				restart()
				if n := len(b.progress().Taken); n != 2 {
					t.Errorf("%d levels after one was taken back", n)
				}
				if err := b.d.Ready("c-1"); err != nil {
					t.Fatal(err)
				}
				b.wait(20 * time.Second)
			}
		}
		restart()
		b.wait(time.Second)
		p := b.progress()
		if !p.Finished || len(b.book.refused) != 1 || p.Channels[0].Made.Record == nil {
			t.Fatalf("%+v, %d refused", p, len(b.book.refused))
		}
		if err := b.d.Keep("c-1", nil, func(*record.Record) (bool, error) { return true, nil }); err != nil {
			t.Fatal(err)
		}
		restart()
		b.wait(time.Second)
		if p := b.progress(); p.Channels[0].Kept != p.Channels[0].Made.Record.ID() || len(b.book.refused) != 1 {
			t.Errorf("in force as %q, and %d refused", p.Channels[0].Kept, len(b.book.refused))
		}
		return p.Channels[0].Made.Record, b
	}
	left, _ := outcome(false)
	ended, b := outcome(true)
	if len(ended.Rows) != len(left.Rows) || ended.Rows[1].Reference != 10.5 || ended.By != "E-01" || ended.Verdict != left.Verdict {
		t.Fatalf("%+v, want %+v", ended, left)
	}
	for i, want := range left.Rows { // the cuff flutters by a count
		if got := ended.Rows[i]; got.Reference != want.Reference || got.Direction != want.Direction || math.Abs(got.Raw-want.Raw) > 1 {
			t.Errorf("row %d is %+v, want %+v", i, got, want)
		}
	}
	if err := b.d.Leave("c-1"); err != nil {
		t.Fatal(err)
	}
	b.restart()
	if _, err := b.d.Progress(); !errors.Is(err, ErrNone) {
		t.Errorf("what was left is back: %v", err)
	}
}

// What cannot be kept is said, goes on all the same, and is kept once it can be. What
// cannot be taken up is said too.
func TestARunOnAFullDisk(t *testing.T) {
	b := &bench{t: t, c: &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}, book: &notebook{}}
	b.restart()
	ask := Ask{Of: fit.Circumstances{Bridge: "hub", Source: "leg"}, Width: 2, Channels: []int{0}, Fit: fit.Defaults(), Plan: protocol.Plan{Levels: []protocol.Level{{}, {Reference: 40}}, Dwell: 5 * time.Second}}
	b.book.full = errors.New("no room")
	if err := b.d.Begin("c-1", ask); err != nil {
		t.Fatal(err)
	}
	b.wait(20 * time.Second)
	if p := b.progress(); len(p.Taken) != 1 || p.Unsaved == nil {
		t.Fatalf("%+v", p)
	}
	b.book.full = nil
	b.wait(time.Second)
	b.restart()
	if p := b.progress(); len(p.Taken) != 1 || p.Unsaved != nil {
		t.Errorf("%+v", p)
	}
	b.d = New(b.c.raw, func() sample.Instant { return b.c.now }, b.book)
	for name, of := range map[string]func(string, string) (int, int, bool){
		"no source":      func(string, string) (int, int, bool) { return 0, 0, false },
		"another source": func(string, string) (int, int, bool) { return 0, 3, true },
	} {
		if err := b.d.Resume(t.Context(), of); !errors.Is(err, ErrState) || !strings.Contains(err.Error(), "hub/leg of 2 channels") {
			t.Errorf("%s: %v", name, err)
		}
	}
	b.book.parts[headPart] = []byte("{")
	if err := b.d.Resume(t.Context(), nil); !errors.Is(err, ErrState) {
		t.Error(err)
	}
}

// What a pressure that was held told is on the disk too; one that is being held when the
// daemon ends is come to anew.
func TestAHoldOutlivesItsDaemon(t *testing.T) {
	levels, err := protocol.Levels(0, 40, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, c: &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}, book: &notebook{}}
	b.restart()
	levels = protocol.Held(levels)
	ask := Ask{Of: fit.Circumstances{Bridge: "hub", Source: "leg"}, Width: 2, Channels: []int{0}, Fit: fit.Defaults(), Plan: protocol.Plan{Levels: levels, Hold: 3 * time.Minute, Dwell: 5 * time.Second}}
	if err := b.d.Begin("c-1", ask); err != nil {
		t.Fatal(err)
	}
	for _, l := range levels {
		b.c.pressure = l.Reference
		b.wait(20 * time.Second)
	}
	if p := b.progress(); p.Holding == nil || *p.Holding < 2*time.Minute || p.Next != nil || len(p.Taken) != len(levels) {
		t.Fatalf("%+v", p)
	}
	b.restart()
	if p := b.progress(); p.Holding != nil || p.Next == nil || p.Next.Reference != 40 {
		t.Fatalf("after a restart %+v is next, held for %v", p.Next, p.Holding)
	}
	if err := b.d.Ready("c-1"); err != nil {
		t.Fatal(err)
	}
	b.wait(4 * time.Minute)
	before := b.progress()
	b.restart()
	b.wait(time.Second)
	after := b.progress()
	if !before.Finished || !after.Finished {
		t.Fatalf("%+v, %+v", before, after)
	}
	was, is := before.Channels[0].Made.Record, after.Channels[0].Made.Record
	if was == nil || was.Calibration.Creep == nil || is.ID() != was.ID() {
		t.Errorf("%+v, and after a restart %+v", was, is)
	}
}
