package keeper

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// What was heard of a source is read from a snapshot as it was written, and is
// never more than the last scans.
func TestHeardIsTakenUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := sample.Lately{}
		var want []sample.Heard
		for range rapid.IntRange(0, 3*sample.LeastHeard).Draw(t, "scans") {
			s := sample.Scan{
				First: rapid.Uint32().Draw(t, "first"), Millis: rapid.Uint32().Draw(t, "ms"), Counted: rapid.IntRange(0, 9).Draw(t, "counted") > 0,
				At: sample.Instant(rapid.Int64().Draw(t, "at")), Arrived: sample.Instant(rapid.Int64().Draw(t, "arrived")), Stored: rapid.Bool().Draw(t, "stored"),
			}
			s.Seq = s.First + rapid.Uint32Range(0, 20).Draw(t, "parts")
			if h.Hear("hub/mat", &s); s.Counted {
				want = append(want, sample.Heard{First: s.First, Seq: s.Seq, Millis: s.Millis, At: s.At, Arrived: s.Arrived, Stored: s.Stored})
			}
		}
		want = want[max(0, len(want)-max(sample.LeastHeard, len(h.Last("hub/mat")))):] // TestLately says how many
		packed := packHeard(h.Last("hub/mat"))
		if got := unpackHeard(packed); !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
		if cut := rapid.IntRange(0, len(packed)).Draw(t, "cut"); cut < len(packed) {
			if got := unpackHeard(packed[:cut]); len(got) >= len(want) || !slices.Equal(got, want[:len(got)]) {
				t.Fatalf("of %d bytes of %d: %v", cut, len(packed), got)
			}
		}
	})
}
