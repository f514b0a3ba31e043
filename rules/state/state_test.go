package state_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/state"
)

type thing struct {
	f  float64
	fs [2]float64
	n  int
	w  int64
	d  time.Duration
	i  sample.Instant
	t  sample.Truth
	b  bool
}

func (x *thing) Code(c *state.Codec) {
	c.Float(&x.f)
	c.Floats(x.fs[:])
	c.Int(&x.n, 0, 9)
	c.Int64(&x.w)
	c.Duration(&x.d)
	c.Instant(&x.i)
	c.Truth(&x.t)
	c.Bool(&x.b)
}

// What was written is read, and what follows it is left; any part of it that is
// missing is noticed.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		any64 := rapid.Int64()
		in := thing{
			f: rapid.Float64().Draw(t, "f"), fs: [2]float64{rapid.Float64().Draw(t, "a"), rapid.Float64().Draw(t, "b")},
			n: rapid.IntRange(0, 9).Draw(t, "n"), w: any64.Draw(t, "w"), d: time.Duration(any64.Draw(t, "d")),
			i: sample.Instant(any64.Draw(t, "i")), t: sample.Truth(rapid.IntRange(-1, 1).Draw(t, "t")), b: rapid.Bool().Draw(t, "on"),
		}
		b := append(state.Append([]byte("before"), &in), "after"...)
		var out thing
		rest, err := state.Read(b[len("before"):], &out)
		if err != nil || string(rest) != "after" || out != in {
			t.Fatalf("%+v became %+v, left %q, %v", in, out, rest, err)
		}
		cut := rapid.IntRange(0, len(b)-len("before")-len("after")-1).Draw(t, "cut")
		if _, err := state.Read(b[len("before"):][:cut], &out); !errors.Is(err, state.ErrSnapshot) {
			t.Fatalf("%d bytes of it are taken: %v", cut, err)
		}
	})
}

func TestRefusals(t *testing.T) {
	nan := thing{f: math.NaN()}
	var out thing
	if _, err := state.Read(state.Append(nil, &nan), &out); err != nil || !math.IsNaN(out.f) {
		t.Errorf("NaN became %v, %v", out.f, err)
	}
	for name, spoil := range map[string]func(*thing){
		"a number outside": func(x *thing) { x.n = 10 }, "no truth": func(x *thing) { x.t = 2 },
	} {
		var x thing
		spoil(&x)
		if _, err := state.Read(state.Append(nil, &x), &out); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
