package excerpt

import (
	"math"
	"testing"

	"weald/ingest/sample"
	"weald/stream/record"
)

// Holds that a stretch without bounds has all that was read of a place, in whatever order it came:
// what one bridge had stored comes long after what another has sent at once.
func TestAStretchWithoutBoundsHasWhatCameLate(t *testing.T) {
	j := kept(t, []int{3_600_000, 3_600_100}, nil)
	stored := record.Block{Source: twoSources.Sources[1].ID, Config: 1}
	for i := range 10_001 { // more than is looked through for the end
		at := after(100 * i)
		stored.Scans = append(stored.Scans, record.Scan{Ord: uint64(3 + i), At: at, Arrived: after(4_000_000 + i), Stored: true, Rail: math.NaN(), Raw: []float64{40}})
	}
	if err := j.AppendReadings(t.Context(), []record.Block{stored}, nil); err != nil {
		t.Fatal(err)
	}
	if r := taken(t, j, sample.Past, sample.Never); r.Header.Start != began || r.Header.End != after(3_600_200) {
		t.Errorf("from %v to %v, and was read from %v to %v", r.Header.Start, r.Header.End, began, after(3_600_100))
	}
}
