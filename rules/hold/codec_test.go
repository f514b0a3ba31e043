package hold_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/hold"
	"weald/rules/hold/holdtest"
)

// drawState draws a hold as some story left it.
func drawState(t *rapid.T, spec *hold.Spec) (h hold.State) {
	for range rapid.IntRange(0, 12).Draw(t, "spans") {
		c := rapid.SampledFrom([]sample.Truth{sample.Yes, sample.Yes, sample.No, sample.Maybe}).Draw(t, "cond")
		h.Advance(spec, ms(rapid.IntRange(0, 90).Draw(t, "span")), c)
	}
	return h
}

// What is written is read, what follows is left, and what is cut off is refused.
func TestStateRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := holdtest.DrawSettings(t).Spec()
		h := drawState(t, &spec)
		b := h.Append([]byte("before"))[len("before"):]
		got, rest, err := hold.ReadState(append(bytes.Clone(b), "after"...))
		if err != nil || got != h || string(rest) != "after" {
			t.Fatalf("%+v became %+v, left %q, %v", h, got, rest, err)
		}
		cut := rapid.IntRange(0, len(b)-1).Draw(t, "cut")
		if _, _, err := hold.ReadState(b[:cut]); !errors.Is(err, hold.ErrSnapshot) {
			t.Fatalf("%d of %d bytes are taken: %v", cut, len(b), err)
		}
	})
}

// What no story leaves behind is refused: times that contradict each other, that are
// longer than there are, or a flag that is none.
func TestStatesThatAreNone(t *testing.T) {
	for name, b := range map[string][]byte{
		"nothing":                   {},
		"neither raised nor not":    {2, 0, 0, 0, 0},
		"off without being raised":  {0, 5, 0, 1, 0},
		"raised, and released":      {1, 5, 1, 0, 0},
		"raised, and silent":        {1, 5, 0, 0, 1},
		"released of nothing":       {0, 0, 1, 0, 0},
		"a time of 2^63 ns":         {0, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 1, 0, 0, 0},
		"a number without an end":   {0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff},
		"three times where four go": {1, 5, 0, 0},
	} {
		if h, _, err := hold.ReadState(b); !errors.Is(err, hold.ErrSnapshot) || h != (hold.State{}) {
			t.Errorf("%s: %+v, %v", name, h, err)
		}
	}
}

// told draws what happens to cells next, tells all of it to each, and fails where they
// do not answer alike.
func told(t *rapid.T, n int, cells ...*hold.Cells) {
	span := ms(rapid.IntRange(0, 90).Draw(t, "span"))
	values := make([]float64, n)
	silent := rapid.IntRange(0, 9).Draw(t, "silence") == 0
	for i := range values {
		values[i] = rapid.SampledFrom([]float64{26, 31, 33, 40, math.NaN()}).Draw(t, "value")
	}
	first := ""
	for k, c := range cells {
		turns := fmt.Sprint(c.Advance(span))
		if silent {
			c.Silence()
		} else {
			c.Set(values)
		}
		turns += fmt.Sprint(c.Advance(0), c.Raised(), c.Held(nil))
		in, ok := c.Next()
		turns += fmt.Sprint(in, ok)
		for i := range n {
			s, cond := c.State(i)
			turns += fmt.Sprint(s.Raised, s.Off, cond)
		}
		if k == 0 {
			first = turns
		} else if turns != first {
			t.Fatalf("cells %d answer\n%s\nnot\n%s", k, turns, first)
		}
	}
}

// Cells that are written and read after every step, those that were read once, and those
// that never were, go on alike, down to when they next want attention.
func TestCellsGoOnAfterASnapshot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 9
		s := holdtest.DrawSettings(t)
		fresh := func() *hold.Cells {
			return hold.NewCells(n, nil, s.Spec(), hold.Above(s.Limit, s.Deadband))
		}
		never, once, always := fresh(), fresh(), fresh()
		steps := rapid.IntRange(1, 12).Draw(t, "steps")
		for k := range steps {
			told(t, n, never, once, always)
			if k == steps/2 {
				once = again(t, once, fresh())
			}
			always = again(t, always, fresh())
		}
	})
}

func again(t *rapid.T, old, fresh *hold.Cells) *hold.Cells {
	b := old.Append(nil)
	if rest, err := fresh.Read(append(bytes.Clone(b), "after"...)); err != nil || string(rest) != "after" {
		t.Fatalf("left %q, %v", rest, err)
	}
	if twice := fresh.Append(nil); !bytes.Equal(twice, b) {
		t.Fatalf("written\n%x\nread and written again\n%x", b, twice)
	}
	return fresh
}

// Cells that hold nothing cost a byte each, as package comment promises for mats.
func TestQuietCellsAreSmall(t *testing.T) {
	const n = 2048
	c := hold.NewCells(n, nil, hold.Spec{OnDelay: time.Hour}, hold.Above(32, 2))
	values := make([]float64, n)
	for range 3 {
		c.Advance(time.Second)
		c.Set(values)
	}
	if got := len(c.Append(nil)); got > n+4 {
		t.Errorf("%d bytes for %d cells", got, n)
	}
}

// After an error the cells are as new, whatever they had held, and nothing but ErrSnapshot
// comes: of bytes of other cells, cut off, or with a byte turned over; those that are taken
// leave nothing that contradicts itself.
func FuzzReadCells(f *testing.F) {
	const n = 5
	spec, band := hold.Spec{OnDelay: time.Second, OffDelay: time.Second, ResetsAfter: time.Second, ForgetAfter: time.Minute}, hold.Above(32, 2)
	busy := hold.NewCells(n, nil, spec, band)
	busy.Set([]float64{40, 20, math.NaN(), 40, 31})
	busy.Advance(2 * time.Second)
	busy.Set([]float64{40, 40, 40, 20, 31})
	busy.Advance(time.Second / 2)
	b := busy.Append(nil)
	f.Add(b)
	f.Add(hold.NewCells(n+1, nil, spec, band).Append(nil))
	for k := range b {
		f.Add(b[:k])
		f.Add(append(append(bytes.Clone(b[:k]), b[k]^0x11), b[k+1:]...))
	}
	blank := hold.NewCells(n, nil, spec, band).Append(nil)
	f.Fuzz(func(t *testing.T, b []byte) {
		c := hold.NewCells(n, nil, spec, band)
		c.Set([]float64{40, 40, 40, 40, 40})
		c.Advance(time.Hour)
		if _, err := c.Read(b); err != nil {
			if !errors.Is(err, hold.ErrSnapshot) || !bytes.Equal(c.Append(nil), blank) || c.Raised() != 0 {
				t.Errorf("after %v: %x", err, c.Append(nil))
			}
			return
		}
		raised := 0
		for i := range n {
			s, _ := c.State(i)
			if err := s.Check(); err != nil {
				t.Error(err)
			}
			if s.Raised {
				raised++
			}
		}
		if in, ok := c.Next(); ok && in < 0 || raised != c.Raised() {
			t.Errorf("%d raised, %d counted; next in %v", raised, c.Raised(), in)
		}
	})
}
