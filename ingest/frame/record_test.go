package frame

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// A record is a handler that keeps copies of everything, in order.
type record struct {
	frames []Frame
	bads   []Bad
	order  []string // "frame" and the reasons, as they came
}

func (r *record) Frame(f *Frame) {
	c := *f
	c.Readings = slices.Clone(f.Readings)
	r.frames = append(r.frames, c)
	r.order = append(r.order, "frame")
}

func (r *record) Bad(b *Bad) {
	r.bads = append(r.bads, *b)
	r.order = append(r.order, string(b.Reason))
}

// decode feeds all of p at once and ends the input.
func decode(d Decoder, p []byte) *record {
	r := &record{}
	d.Feed(p, r)
	d.Flush(r)
	return r
}

// only returns the one frame of r and fails where there is anything else.
func (r *record) only(t *testing.T) Frame {
	t.Helper()
	if len(r.frames) != 1 || len(r.bads) != 0 {
		t.Fatalf("got %v %+v, want one frame", r.order, r.bads)
	}
	return r.frames[0]
}

// wantBad fails unless r is exactly one refusal for reason.
func (r *record) wantBad(t *testing.T, reason Reason) {
	t.Helper()
	if len(r.frames) != 0 || len(r.bads) != 1 || r.bads[0].Reason != reason {
		t.Errorf("got %v %+v, want only %q", r.order, r.bads, reason)
	}
}

// equal reports whether two handlers saw the same, in the same order. It is
// what fuzzing spends its time in; diff says what the difference is.
func (r *record) equal(o *record) bool {
	return slices.Equal(r.order, o.order) && slices.Equal(r.bads, o.bads) && slices.EqualFunc(r.frames, o.frames, equalFrames)
}

func equalFrames(a, b Frame) bool {
	sameReading := func(v, w float64) bool { return v == w || v != v && w != w }
	return slices.EqualFunc(a.Readings, b.Readings, sameReading) &&
		a.Kind == b.Kind && a.Source == b.Source && a.Seq == b.Seq && a.Millis == b.Millis && a.Wall == b.Wall &&
		a.First == b.First && a.Top == b.Top && a.More == b.More && a.Stored == b.Stored && a.Health == b.Health
}

// diff compares two values; a NaN equals a NaN.
func diff(want, got any) string {
	return cmp.Diff(want, got, cmpopts.EquateNaNs(), cmp.AllowUnexported(record{}))
}

// checkCuts feeds p to fresh decoders, whole and in random pieces, and wants
// the same from both.
func checkCuts(t *rapid.T, fresh func() Decoder, p []byte) {
	whole := decode(fresh(), p)
	d, r := fresh(), &record{}
	for rest := p; len(rest) > 0; {
		n := rapid.IntRange(1, min(len(rest), 1+len(p)/3)).Draw(t, "piece")
		scratch := slices.Clone(rest[:n])
		d.Feed(scratch, r)
		for i := range scratch {
			scratch[i] ^= 0x5A // a decoder must not lean on bytes that it was lent
		}
		rest = rest[n:]
	}
	d.Flush(r)
	if !whole.equal(r) {
		t.Fatalf("cut into pieces it reads otherwise (-whole +pieces):\n%s", diff(whole, r))
	}
}

// damage changes wire, a row of units that each end in a delimiter: it flips
// bits, cuts bytes out or puts noise in, at random places. It returns the
// result and which units are untouched, their delimiter and that of the unit
// before included.
func damage(t *rapid.T, units [][]byte) (wire []byte, intact []bool) {
	intact = make([]bool, len(units))
	for i := range intact {
		intact[i] = true
	}
	spoil := func(i int, last bool) {
		intact[i] = false
		if last && i+1 < len(units) {
			intact[i+1] = false // its beginning is not told from our end
		}
	}
	for i, u := range units {
		u = slices.Clone(u)
		for range rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(t, fmt.Sprintf("hits on %d", i)) {
			if len(u) == 0 {
				break
			}
			at := rapid.IntRange(0, len(u)-1).Draw(t, "at")
			switch rapid.IntRange(0, 2).Draw(t, "damage") {
			case 0:
				u[at] ^= byte(1 << rapid.IntRange(0, 7).Draw(t, "bit"))
				spoil(i, at == len(u)-1)
			case 1:
				n := rapid.IntRange(1, len(u)-at).Draw(t, "cut")
				u = slices.Delete(u, at, at+n)
				spoil(i, at == len(u))
			case 2:
				noise := rapid.SliceOfN(rapid.Byte(), 1, 20).Draw(t, "noise")
				u = slices.Insert(u, at, noise...)
				spoil(i, false)
			}
			// Two hits may add up to a delimiter that went and came back;
			// counting the neighbour as hit then only asks for less.
			if len(u) == 0 || u[len(u)-1] != units[i][len(units[i])-1] {
				spoil(i, true)
			}
		}
		wire = append(wire, u...)
	}
	return wire, intact
}

// wantInOrder fails unless every frame of want occurs in got, in order.
func wantInOrder(t *rapid.T, want, got []Frame) {
	i := 0
	for _, f := range got {
		if i < len(want) && equalFrames(want[i], f) {
			i++
		}
	}
	if i < len(want) {
		t.Fatalf("undamaged frame %d of %d did not come through: %+v", i, len(want), want[i])
	}
}
