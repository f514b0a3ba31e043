package ingest

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestBytesBecomeScans(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for i := range 5 {
			r.line(uint16(i%2), float64(40+i), 20)
		}
		if len(r.scans()) != 5 || r.scans()[4].Values[0] != 44 || r.scans()[3].Source != 1 {
			t.Fatalf("scans: %+v", r.scans())
		}
		s := r.sup.Status()
		if s.State != Open || s.Trouble != "" || s.Frames != 5 || s.BadFrames() != 0 || s.Opened != 1 {
			t.Errorf("status: %+v", s)
		}
		if a := s.Sources[0]; a.Scans != 3 || a.ID != "trolley/left" || a.LastScan != r.scans()[4].At || a.Channels != 2 {
			t.Errorf("source: %+v", a)
		}
	})
}

func TestWholeMessages(t *testing.T) {
	packed := func(l Link) Bridge {
		b := twoLegs(l)
		b.Format = Format{Kind: Packed}
		return b
	}
	bubble(t, packed, func(r *rig) {
		r.link.set(nil)
		r.link.whole = true
		r.link.hangUp() // the next connection keeps messages whole
		r.pass(time.Second)
		b, err := frame.AppendPacked(nil, &frame.Frame{Kind: frame.Readings, Source: 1, Readings: []float64{30, 31}}, frame.U12)
		if err != nil {
			t.Fatal(err)
		}
		r.link.send(b) // bare: no COBS, no closing zero
		r.pass(time.Millisecond)
		if len(r.scans()) != 1 || r.scans()[0].Values[1] != 31 {
			t.Errorf("scans: %+v", r.scans())
		}
	})
}

// gaps returns the times between the openings of a link.
func (l *fakeLink) gaps() []time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	var ds []time.Duration
	for i := 1; i < len(l.opens); i++ {
		ds = append(ds, l.opens[i].Sub(l.opens[i-1]))
	}
	return ds
}

func TestALinkThatFailsIsTriedLessAndLess(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.link.set(errors.New("no such port: /dev/ttyX; is the bridge plugged in?"))
		r.link.hangUp()
		r.pass(10 * time.Minute)
		s := r.sup.Status()
		if s.State != Waiting || s.Trouble != "no such port: /dev/ttyX; is the bridge plugged in?" {
			t.Errorf("%s: %q", s.State, s.Trouble)
		}
		if wait := s.NextTry.Sub(s.Since); wait <= 0 || wait > 30*time.Second {
			t.Errorf("the next try comes %v after the last", wait)
		}
		gaps := r.link.gaps()
		if len(gaps) < 20 || len(gaps) > 40 {
			t.Fatalf("%d tries in 10 min", len(gaps))
		}
		for i, gap := range gaps {
			want := min(250*time.Millisecond<<min(i, 20), 30*time.Second)
			if gap < want*7/10 || gap > min(want*13/10, 30*time.Second) {
				t.Errorf("wait %d was %v, want about %v", i, gap, want)
			}
		}
		// It comes back by itself, and the first good frame forgives all.
		r.link.set(nil)
		r.pass(30 * time.Second)
		r.line(0, 40, 20)
		if s := r.sup.Status(); s.State != Open || s.Trouble != "" {
			t.Fatalf("after the link is back: %s, %q", s.State, s.Trouble)
		}
		before := len(r.link.gaps())
		r.link.hangUp()
		r.pass(350 * time.Millisecond)
		if len(r.link.gaps()) != before+1 {
			t.Error("after a good frame the first wait is not a quarter of a second again")
		}
	})
}

func TestAPortThatEndsAtOnceIsNotHammered(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 600 { // a minute
			r.link.mu.Lock()
			open := r.link.conn != nil
			r.link.mu.Unlock()
			if open {
				r.link.hangUp()
			}
			r.pass(100 * time.Millisecond)
		}
		if n := len(r.link.gaps()); n < 5 || n > 12 {
			t.Errorf("%d openings in a minute of a port that ends at once", n)
		}
		if s := r.sup.Status(); !strings.Contains(s.Trouble, "ended the connection") {
			t.Errorf("trouble: %q", s.Trouble)
		}
	})
}

func TestSequenceGoesOnOverALostConnection(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.line(0, 1, 1)
		r.link.send([]byte("w1,0,1,100,2")) // cut by the plug
		r.pass(time.Millisecond)
		r.link.hangUp()
		r.pass(time.Second)
		r.seq = 10
		r.line(0, 3, 3)
		s := r.sup.Status().Sources[0]
		if s.Scans != 2 || s.Gaps != 9 || s.Epochs != 1 {
			t.Errorf("%+v: want 2 scans, 9 frames missing, and no restart of the device", s)
		}
	})
}

func TestUnknownSourcesAreListedAndNeverGuessed(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 60 {
			r.line(7, 1, 2, 3)
		}
		s := r.sup.Status()
		if len(r.scans()) != 0 || s.Frames != 0 || s.Bad[frame.BadSource] != 60 {
			t.Errorf("%d scans, %d frames, bad %v", len(r.scans()), s.Frames, s.Bad)
		}
		if len(s.Unknown) != 1 || s.Unknown[0].Number != 7 || s.Unknown[0].Channels != 3 || s.Unknown[0].Frames != 60 || s.Unknown[0].Readings[2] != 3 {
			t.Errorf("unknown: %+v", s.Unknown)
		}
		r.line(7, 4, 5)
		if u := r.sup.Status().Unknown[0]; u.Earliest[0] != 1 || len(u.Readings) != 2 || u.Readings[1] != 5 || u.Channels != 3 {
			t.Errorf("unknown: %+v, want the first readings beside the latest", u)
		}
		if want := "nothing from it so far; source 7 sends and is not configured: is the number right?"; s.Sources[0].Trouble != want {
			t.Errorf("left: %q, want %q", s.Sources[0].Trouble, want)
		}
		for n := range uint16(100) {
			r.line(100+n, 1)
		}
		if s := r.sup.Status(); len(s.Unknown) != maxUnknown || s.MoreUnknown != 100-maxUnknown+1 {
			t.Errorf("%d listed and %d frames more", len(s.Unknown), s.MoreUnknown)
		}
	})
}

func TestChannelMismatchIsSaid(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.line(0, 1, 2, 3)
		r.line(1, 1)
		s := r.sup.Status()
		if want := "it sends 3 channels and 2 are configured: its frames are refused"; s.Sources[0].Trouble != want || s.Bad[frame.BadChannel] != 1 {
			t.Errorf("left: %q, bad %v", s.Sources[0].Trouble, s.Bad)
		}
		if want := "it sends 1 channels and 2 are configured: the others are unknown"; s.Sources[1].Trouble != want {
			t.Errorf("right: %q", s.Sources[1].Trouble)
		}
		r.line(0, 1, 2)
		r.line(1, 1, 2)
		for i, s := range r.sup.Status().Sources {
			if s.Trouble != "" {
				t.Errorf("source %d still says %q", i, s.Trouble)
			}
		}
	})
}

func TestAPartThatNeverComesIsLetGo(t *testing.T) {
	packed := func(l Link) Bridge {
		b := twoLegs(l)
		b.Format.Kind = Packed
		return b
	}
	bubble(t, packed, func(r *rig) {
		b, err := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Readings: []float64{50}, More: true}, frame.U8)
		if err != nil {
			t.Fatal(err)
		}
		r.link.send(b)
		r.pass(200 * time.Millisecond)
		if len(r.scans()) != 0 {
			t.Fatal("half a scan went out at once")
		}
		r.pass(400 * time.Millisecond)
		if len(r.scans()) != 1 || r.scans()[0].Values[0] != 50 || r.scans()[0].Values[1] == r.scans()[0].Values[1] {
			t.Errorf("after the wait: %+v, want one scan with its second value unknown", r.scans())
		}
	})
}

func TestNewRefusesNonsense(t *testing.T) {
	for want, change := range map[string]func(*Bridge){
		"has no link":               func(b *Bridge) { b.Link = nil },
		"no format \"morse\"":       func(b *Bridge) { b.Format.Kind = "morse" },
		"two sources with the numb": func(b *Bridge) { b.Sources[1].Number = 0 },
		"has no channels":           func(b *Bridge) { b.Sources[1].Channels = 0 },
		"separator":                 func(b *Bridge) { b.Format.Kind = Delimited },
	} {
		b := twoLegs(&fakeLink{})
		change(&b)
		if _, err := New(b, Options{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// A link that acknowledges takes the next Read as the receipt of the message
// before, so that must not come while the message is still being dealt with.
func TestAMessageIsDealtWithBeforeTheNextIsAskedFor(t *testing.T) {
	twoMessages(t, func(waiting func() int, handOn, end func()) {
		if n := waiting(); n != 1 {
			t.Errorf("%d messages wait to be asked for while the first is dealt with, want 1", n)
		}
		handOn()
		if n := waiting(); n != 0 {
			t.Errorf("%d messages wait afterwards", n)
		}
		end()
	})
}

// What is dealt with while everything ends may not have been taken.
func TestAMessageIsNotAskedForWhenAllEnds(t *testing.T) {
	twoMessages(t, func(waiting func() int, handOn, end func()) {
		end()
		handOn()
		if n := waiting(); n != 1 {
			t.Errorf("%d messages wait, want 1", n)
		}
	})
}

// twoMessages has a link deliver two messages, of which the first is dealt with
// until handOn is called.
func twoMessages(t *testing.T, story func(waiting func() int, handOn, end func())) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		link := &fakeLink{whole: true}
		busy := make(chan struct{})
		sup, err := New(packed(link), Options{
			Now: func() sample.Instant { return sample.At(time.Now()) },
			Out: func(*sample.Scan) { <-busy },
		})
		if err != nil {
			t.Fatal(err)
		}
		cancel, ended := running(t, sup)
		for i := range uint32(2) {
			p, err := frame.AppendPacked(nil, &frame.Frame{Kind: frame.Readings, Seq: i, Millis: i, Readings: []float64{1, 2}}, frame.U12)
			if err != nil {
				t.Fatal(err)
			}
			link.send(p)
		}
		synctest.Wait()
		story(func() int { synctest.Wait(); return len(link.conn.in) }, func() { close(busy) }, cancel)
		ended()
	})
}
