package ingest

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"weald/ingest/frame"
)

// encoded returns n frames of two readings in an encoding.
func encoded(t *testing.T, n int, add func([]byte, *frame.Frame) ([]byte, error)) (b []byte) {
	t.Helper()
	for i := range uint32(n) {
		var err error
		b, err = add(b, &frame.Frame{Kind: frame.Readings, Seq: i, Millis: 100 * i, Readings: []float64{40, 20}})
		if err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// wire returns n packed frames, as they go over a stream.
func wire(t *testing.T, n int) []byte {
	return encoded(t, n, func(b []byte, f *frame.Frame) ([]byte, error) { return frame.AppendWire(b, f, frame.U12) })
}

// text returns n line frames.
func text(t *testing.T, n int) []byte { return encoded(t, n, frame.AppendLine) }

func TestTheWrongFormatIsNamed(t *testing.T) {
	noise := make([]byte, 4000)
	random := rand.New(rand.NewPCG(1, 2))
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	var log []byte
	for i := range 200 {
		log = fmt.Appendf(log, "%d;%d,5;%d,7\r\n", i, i+30, i+20)
	}
	rows := Format{Kind: Delimited, Delimited: frame.Delimited{
		Separator: ";", Time: frame.TimeColumn{Column: 0, As: frame.InRFC3339}, Channels: []int{1, 2},
		Source: frame.SourceColumn{Column: -1},
	}}
	for _, c := range []struct {
		name   string
		format Format
		sent   []byte
		want   string
	}{
		{"packed on line", Format{Kind: Line}, wire(t, 100), "bytes arrive but no frame of format line: is the bridge set to packed?"},
		{"line on packed", Format{Kind: Packed}, text(t, 100), "bytes arrive but no frame of format packed: is the bridge set to line?"},
		{"line on rows", rows, text(t, 100), "bytes arrive but no frame of format delimited: is the bridge set to line?"},
		{"log on line", Format{Kind: Line}, log, `bytes arrive but no frame of format line: it is text, such as "63;93,5;83,7"; a logger's columns are read as format delimited`},
		{"other rows", rows, log, `bytes arrive but no frame of format delimited: it is text, such as "63;93,5;83,7"; are separator, columns and time described as they are?`},
		{"noise on packed", Format{Kind: Packed}, noise, "bytes arrive but no frame of format packed: it looks like noise"},
		{"noise on line", Format{Kind: Line}, noise, "bytes arrive but no frame of format line: it looks like noise"},
	} {
		t.Run(c.name, func(t *testing.T) {
			bridge := func(l Link) Bridge {
				b := twoLegs(l)
				b.Format = c.format
				return b
			}
			bubble(t, bridge, func(r *rig) {
				r.trickle(c.sent)
				if s := r.sup.Status(); !strings.HasPrefix(s.Trouble, c.want) {
					t.Errorf("trouble: %q, want %q", s.Trouble, c.want)
				}
				if len(r.scans()) != 0 {
					t.Errorf("%d scans were made of it", len(r.scans()))
				}
			})
		})
	}
}

func TestNoiseInTheMidstIsSaidAndForgotten(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 10 {
			r.line(0, 40, 20)
		}
		for range 50 {
			r.link.send([]byte("\xf3\x81\x00garbage\n"))
			r.pass(100 * time.Millisecond)
		}
		s := r.sup.Status()
		if !strings.Contains(s.Trouble, "no frame of format line") || s.TroubleSince <= s.Since {
			t.Errorf("trouble: %q since %v", s.Trouble, s.TroubleSince)
		}
		for range 10 {
			r.line(0, 40, 20)
			r.line(1, 40, 20)
		}
		if s := r.sup.Status(); s.Trouble != "" {
			t.Errorf("after good frames: %q", s.Trouble)
		}
	})
}

func TestALineThatLosesFramesIsSaid(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.lossy(250, 5)
		if s := r.sup.Status(); !strings.Contains(s.Trouble, "frames arrived damaged (checksum)") {
			t.Errorf("trouble: %q", s.Trouble)
		}
		for i := range 250 {
			r.line(uint16(i%2), 40, 20)
		}
		if s := r.sup.Status(); s.Trouble != "" {
			t.Errorf("when it is over: %q", s.Trouble)
		}
	})
}

func TestSilenceIsSaid(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.pass(4 * time.Second)
		if s := r.sup.Status(); s.Trouble != "" {
			t.Errorf("after 4 s: %q", s.Trouble)
		}
		r.pass(3 * time.Second)
		if s := r.sup.Status(); !strings.HasPrefix(s.Trouble, "nothing has arrived since the link was opened") {
			t.Errorf("after 7 s: %q", s.Trouble)
		}
		r.line(0, 40, 20)
		if s := r.sup.Status(); s.Trouble != "" {
			t.Errorf("after a frame: %q", s.Trouble)
		}
		since := sampleNow(r)
		r.pass(20 * time.Second)
		s := r.sup.Status()
		if !strings.HasPrefix(s.Trouble, "nothing has arrived for ") || s.TroubleSince.Sub(since) > 6*time.Second {
			t.Errorf("after 20 s of silence: %q since %v", s.Trouble, s.TroubleSince)
		}
	})
}

func TestOneSilentSourceIsSaid(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 100 {
			r.line(0, 40, 20)
		}
		s := r.sup.Status()
		if s.Trouble != "" || s.Sources[0].Trouble != "" || s.Sources[1].Trouble != "nothing from it so far" {
			t.Errorf("bridge %q, left %q, right %q", s.Trouble, s.Sources[0].Trouble, s.Sources[1].Trouble)
		}
	})
}

func TestTheWrongRateIsSaid(t *testing.T) {
	slow := func(l Link) Bridge {
		b := twoLegs(l)
		b.Sources = b.Sources[:1]
		b.Sources[0].Rate = 50
		return b
	}
	bubble(t, slow, func(r *rig) {
		for range 100 {
			r.line(0, 40, 20)
		}
		if s := r.sup.Status().Sources[0]; s.Trouble != "it sends 10 scans/s and 50 are configured" {
			t.Errorf("trouble: %q", s.Trouble)
		}
	})
}

func TestATroubleIsLoggedOnce(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.line(0, 40, 20)
		r.pass(time.Minute) // of silence, whose words count the seconds
		r.line(0, 40, 20)
		log := r.log.String()
		if n := strings.Count(log, "bridge is in trouble"); n != 1 {
			t.Errorf("logged %d times:\n%s", n, log)
		}
		if n := strings.Count(log, "bridge is well"); n != 1 {
			t.Errorf("its end logged %d times:\n%s", n, log)
		}
	})
}
