package assembly

import (
	"math"
	"slices"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

var nan = math.NaN()

const start = sample.Instant(1_800_000_000_000_000_000)

// A rig is an Assembler with what came out of it.
type rig struct {
	t   *testing.T
	a   *Assembler
	got []sample.Scan // copies
}

func newRig(t *testing.T, c Config) *rig {
	t.Helper()
	r := &rig{t: t}
	a, err := New(c, func(s *sample.Scan) {
		kept := *s
		kept.Values, kept.Raw = slices.Clone(s.Values), slices.Clone(s.Raw)
		r.got = append(r.got, kept)
	})
	if err != nil {
		t.Fatal(err)
	}
	r.a = a
	return r
}

// plain is a source of four channels that delivers mmHg.
func plain(t *testing.T) *rig { return newRig(t, Config{Channels: 4, Unit: calib.MMHg}) }

func at(ms int) sample.Instant { return start.Add(time.Duration(ms) * time.Millisecond) }

// scan is a whole live frame.
func scan(seq, ms uint32, readings ...float64) *frame.Frame {
	return &frame.Frame{Kind: frame.Readings, Seq: seq, Millis: ms, Wall: sample.Never, Readings: readings}
}

// part is a frame from channel first on; more says that it is not the last.
func part(seq, ms uint32, first int, more bool, readings ...float64) *frame.Frame {
	f := scan(seq, ms, readings...)
	f.First, f.More = first, more
	return f
}

func stored(f *frame.Frame) *frame.Frame {
	f.Stored = true
	return f
}

// give sends f, which arrives ms after start and must be accepted.
func (r *rig) give(ms int, f *frame.Frame) {
	r.t.Helper()
	if bad := r.a.Frame(f, at(ms)); bad != nil {
		r.t.Fatalf("frame %d was refused: %v", f.Seq, bad)
	}
}

// wants checks the sequence numbers of what came out since the last call.
func (r *rig) wants(what string, seqs ...uint32) {
	r.t.Helper()
	var got []uint32
	for _, s := range r.got {
		got = append(got, s.Seq)
	}
	if !slices.Equal(got, seqs) {
		r.t.Fatalf("%s: scans %v came out, want %v", what, got, seqs)
	}
}

func (r *rig) counted(what string, get func(Stats) uint64, want uint64) {
	r.t.Helper()
	if got := get(r.a.Stats()); got != want {
		r.t.Errorf("%s: %d, want %d (%+v)", what, got, want, r.a.Stats())
	}
}

func readings(t *testing.T, what string, got []float64, want ...float64) {
	t.Helper()
	if !slices.EqualFunc(got, want, func(a, b float64) bool { return a == b || a != a && b != b }) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func scans(s Stats) uint64      { return s.Scans }
func gaps(s Stats) uint64       { return s.Gaps }
func repeats(s Stats) uint64    { return s.Repeats }
func lateOnes(s Stats) uint64   { return s.Late }
func epochs(s Stats) uint64     { return uint64(s.Epochs) }
func incomplete(s Stats) uint64 { return s.Incomplete }
func damaged(s Stats) uint64    { return s.Damaged }
func unplaced(s Stats) uint64   { return s.Unplaced }
func saturated(s Stats) uint64  { return s.Saturated }
