package ingest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"weald/ingest/frame"
)

// packed is a packed bridge with two sources.
func packed(l Link) Bridge {
	b := twoLegs(l)
	b.Format = Format{Kind: Packed}
	return b
}

// summed ends a line with its checksum.
func summed(line string) string {
	var x byte
	for i := range len(line) {
		x ^= line[i]
	}
	return fmt.Sprintf("%s*%02X\r\n", line, x)
}

func TestFramesThatAreNearlyRightAreToldWhatIsWrong(t *testing.T) {
	bare := encoded(t, 20, func(b []byte, f *frame.Frame) ([]byte, error) { return frame.AppendPacked(b, f, frame.U12) })
	for _, c := range []struct {
		name   string
		bridge func(Link) Bridge
		sent   string
		want   string
	}{
		{"a reading too large", twoLegs, strings.Repeat(summed("w1,0,5,500,70000,3"), 20), "there is a reading that is not 0…65534 or empty, as in"},
		{"a fraction", twoLegs, strings.Repeat(summed("w1,0,5,500,7.5,3"), 20), "there is a reading that is not 0…65534 or empty, as in"},
		{"no checksum", twoLegs, strings.Repeat("w1,0,5,500,7,3\r\n", 20), `there is no checksum at the end, as in "w1,0,5,500,7,3"`},
		{"lower case", twoLegs, strings.Repeat("w1,0,5,500,7,3*4e\n", 20), "there is a checksum that is not two upper-case hex digits, as in"},
		{"a wrong sum", twoLegs, strings.Repeat("w1,0,5,500,7,3*4E\n", 20), "there is a wrong checksum, as in"},
		{"no framing", packed, string(bare), "they are packed frames without their COBS framing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, c.bridge, func(r *rig) {
				r.trickle([]byte(c.sent))
				if s := r.sup.Status(); !strings.Contains(s.Trouble, c.want) {
					t.Errorf("trouble: %q, want %q in it", s.Trouble, c.want)
				}
			})
		})
	}
}

func TestNoiseAfterTheWrongFormatIsNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	bubble(t, packed, func(r *rig) {
		for range 60 {
			r.link.send(text(t, 1))
			r.pass(100 * time.Millisecond)
		}
		if s := r.sup.Status(); !strings.HasSuffix(s.Trouble, "is the bridge set to line?") {
			t.Fatalf("trouble: %q", s.Trouble)
		}
		for range 150 {
			noise := make([]byte, 40)
			for i := range noise {
				noise[i] = byte(random.Uint32())
			}
			r.link.send(noise)
			r.pass(100 * time.Millisecond)
		}
		if s := r.sup.Status(); !strings.Contains(s.Trouble, "it looks like noise") {
			t.Errorf("15 s later: %q", s.Trouble)
		}
	})
}

// What was damaged gives way to what is so now.
func TestSilenceAfterDamage(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		r.lossy(150, 4)
		if s := r.sup.Status(); !strings.Contains(s.Trouble, "frames arrived damaged") {
			t.Fatalf("trouble: %q", s.Trouble)
		}
		r.pass(6 * time.Second)
		if s := r.sup.Status(); !strings.HasPrefix(s.Trouble, "nothing has arrived for ") {
			t.Errorf("after 6 s of silence: %q", s.Trouble)
		}
	})
}

// Half of the frames destroyed is said while it is so, also of a source that
// sends one a second.
func TestHalfOfTheFramesDestroyed(t *testing.T) {
	for _, every := range []time.Duration{100 * time.Millisecond, time.Second} {
		bubble(t, twoLegs, func(r *rig) {
			send := func(n int, bad func(i int) bool) (said int) {
				for i := range n {
					b, err := frame.AppendLine(nil, &frame.Frame{Kind: frame.Readings, Seq: r.seq, Millis: r.seq * uint32(every/time.Millisecond), Readings: []float64{40, 20}})
					if err != nil {
						t.Fatal(err)
					}
					if r.seq++; bad(i) {
						b = bytes.Replace(b, []byte("w1,"), []byte("w#,"), 1)
					}
					r.link.send(b)
					r.pass(every)
					if s := r.sup.Status(); s.Trouble != "" {
						said++
					}
				}
				return said
			}
			never := func(int) bool { return false }
			if said := send(20, never); said != 0 {
				t.Errorf("every %v: said %d times before", every, said)
			}
			send(12, func(i int) bool { return i%2 == 0 })
			if said := send(20, func(i int) bool { return i%2 == 0 }); said != 20 {
				t.Errorf("every %v: said %d times of 20 while it lasts", every, said)
			}
			send(int(11*time.Second/every), never)
			if said := send(10, never); said != 0 {
				t.Errorf("every %v: said %d times after", every, said)
			}
		})
	}
}

func TestTheRateIsThatSinceTheReplug(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 100 {
			r.line(0, 40, 20)
		}
		r.link.hangUp()
		r.pass(4 * time.Second) // shorter than what is a silence of its own
		r.seq += 40
		for range 30 {
			r.line(0, 40, 20)
		}
		if s := r.sup.Status().Sources[0]; !(s.Rate > 9.5 && s.Rate < 10.5) || s.Trouble != "" {
			t.Errorf("the rate is said to be %v, trouble %q", s.Rate, s.Trouble)
		}
	})
}
