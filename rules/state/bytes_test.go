package state_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"weald/rules/state"
)

// Numbers are little-endian words of eight bytes, whatever their size: as encoding/binary
// lays them out.
func TestLayout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := thing{f: rapid.Float64().Draw(t, "f"), n: rapid.IntRange(0, 9).Draw(t, "n"), w: rapid.Int64().Draw(t, "w"), b: true, t: -1}
		want, err := binary.Append(nil, binary.LittleEndian, struct {
			F          float64
			Fs         [2]float64
			N, W, D, I int64
			T, B       int64
		}{F: x.f, N: int64(x.n), W: x.w, T: -1, B: 1})
		if err != nil {
			t.Fatal(err)
		}
		if got := state.Append(nil, &x); !bytes.Equal(got, want) {
			t.Fatalf("%+v is written as\n%x, want\n%x", x, got, want)
		}
	})
}

// NaN is unknown, and there are many of them: each number keeps its bits.
func TestNumbersKeepTheirBits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.OneOf(rapid.Uint64(), rapid.Uint64Range(0x7ff0000000000000, 0x7fffffffffffffff)).Draw(t, "bits")
		in, out := thing{f: math.Float64frombits(bits)}, thing{}
		if _, err := state.Read(state.Append(nil, &in), &out); err != nil || math.Float64bits(out.f) != bits {
			t.Fatalf("%x became %x, %v", bits, math.Float64bits(out.f), err)
		}
	})
}

// A parcel is what has a part of its own form, of any length, between two numbers.
type parcel struct {
	before, after float64
	text          string
	asked         int  // how often the part was read
	refuse        bool // by itself, after all was read
}

var errLong = errors.New("cut off")

func (p *parcel) Code(c *state.Codec) {
	c.Float(&p.before)
	c.Bytes(func(b []byte) []byte { return append(append(b, byte(len(p.text))), p.text...) }, func(b []byte) ([]byte, error) {
		p.asked++
		if len(b) == 0 || len(b) <= int(b[0]) {
			return nil, errLong
		}
		p.text = string(b[1 : 1+b[0]])
		return b[1+b[0]:], nil
	})
	c.Float(&p.after)
	if p.refuse && c.Reading() {
		c.Refuse()
	}
}

// What reads a part of its own takes as much as it wrote, and what follows is read as
// before; every cut is refused; and what has no beginning is not asked for its part.
func TestPartsOfTheirOwn(t *testing.T) {
	in := parcel{before: 1, text: "heel", after: 2}
	b := state.Append(nil, &in)
	var out parcel
	if rest, err := state.Read(append(b, "more"...), &out); err != nil || string(rest) != "more" || out.text != "heel" || out.after != 2 {
		t.Errorf("%+v, left %q, %v", out, rest, err)
	}
	for cut := range b {
		var part parcel
		if _, err := state.Read(b[:cut], &part); !errors.Is(err, state.ErrSnapshot) {
			t.Errorf("%d of %d bytes are taken: %v", cut, len(b), err)
		}
		if cut < 8 && part.asked != 0 {
			t.Errorf("with %d bytes the part was read", cut)
		}
	}
	if _, err := state.Read(b, &parcel{refuse: true}); !errors.Is(err, state.ErrSnapshot) {
		t.Errorf("what makes no sense was taken: %v", err)
	}
}

// Once something is refused nothing more is filled.
func TestNothingIsFilledAfterARefusal(t *testing.T) {
	in := thing{n: 12, w: 5, d: 6, i: 7, b: true}
	out := thing{n: 3}
	if _, err := state.Read(state.Append(nil, &in), &out); err == nil || out != (thing{n: 3}) {
		t.Errorf("%+v, %v", out, err)
	}
}

// Any bytes at all are read or refused; what is read writes the same bytes again.
func FuzzRead(f *testing.F) {
	f.Add([]byte{})
	f.Add(state.Append(nil, &thing{n: 9, t: 1, b: true, f: math.NaN()}))
	f.Add(bytes.Repeat([]byte{0xff}, 80))
	f.Fuzz(func(t *testing.T, b []byte) {
		var x thing
		rest, err := state.Read(b, &x)
		if err != nil {
			return
		}
		if again := append(state.Append(nil, &x), rest...); !bytes.Equal(again, b) {
			t.Errorf("%x became %x", b, again)
		}
	})
}
