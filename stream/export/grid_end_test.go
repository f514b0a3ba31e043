package export

import (
	"testing"
	"time"

	"weald/ingest/sample"
)

// Holds that the last reading of a stretch is a sample like all others, however soon after it the
// stretch ends, as a session may: the sample nearest to it may be behind the end, even in the next
// record. What the stretch holds beside that sample ends where it ends.
func TestTheLastReadingIsASample(t *testing.T) {
	for phase := time.Duration(0); phase < 100*time.Millisecond; phase += 9 * time.Millisecond {
		for n := 5; n <= 10; n += 5 {
			r := numbered(10, n, func(i int) time.Duration { return time.Duration(i)*100*time.Millisecond + phase })
			last := after(time.Duration(n-1)*100*time.Millisecond + phase)
			for _, end := range []sample.Instant{last + 1, after(time.Second)} {
				if r.Header.End = end; end <= last {
					continue
				}
				r.Tracks = append(r.Tracks[:1], single("held", "", 0, Row{At: start, Values: []float64{7}}))
				var got []float64
				l, err := r.layout(DefaultIrregularRate)
				if err != nil {
					t.Fatal(err)
				}
				g := r.grid(t.Context(), &l)
				for range records(t, g) {
					for k, v := range g.lanes[0].out[0] {
						if v == v && (len(got) == 0 || v != got[len(got)-1]) {
							got = append(got, v)
						}
						at := g.begin().Add(time.Duration(k) * 100 * time.Millisecond)
						if v := g.lanes[1].out[0][k]; v == v && at >= end {
							t.Errorf("phase %v, until %v: what is held is there at %v", phase, end.Sub(start), at.Sub(start))
						}
					}
				}
				if len(got) != n || got[n-1] != float64(n-1) {
					t.Errorf("phase %v, until %v: of %d readings there are %v", phase, end.Sub(start), n, got)
				}
			}
		}
	}
}
