package sqlite

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/stream/journal/journaltest"
)

// indexPages returns the bytes of a file's index pages that are in use, as places
// in it.
func indexPages(t *testing.T, path string) (at []int64) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n*pageSize < len(b); n++ { // the first page is one of a table
		page := b[n*pageSize : (n+1)*pageSize]
		if page[0] != 0x0a && page[0] != 0x02 { // file format of SQLite, 1.6: leaf and interior page of an index
			continue
		}
		for i := range page {
			if page[i] != 0 || i < 8 || i > 0 && page[i-1] != 0 {
				at = append(at, int64(n*pageSize+i))
			}
		}
	}
	return at
}

// A byte of an index of a file of readings is damaged. Whichever inputs are asked
// for, and whichever readings: what is not there is told.
func TestFlippedIndex(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	_, _, image := fixture(t)
	file := dayFile(secondAt(0))
	path := filepath.Join(image, file)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const day = seconds * 2 / 3
	places := indexPages(t, path)
	step := max(1, len(places)/(*faults*6))
	for i := 0; i < len(places); i += step {
		for _, bits := range [][]byte{{1 << (i % 8)}, {0xff}}[i/step%2] {
			if err := os.WriteFile(path, whole, 0o600); err != nil {
				t.Fatal(err)
			}
			flip(t, path, places[i], bits)
			s := mustOpen(t, image)
			for _, part := range []span{{1, math.MaxUint64}, {1, 32 * day / 2}, {32*day/2 + 1, 32 * day}, {32*3 + 1, 32 * 5}} {
				inputs, lost := journaltest.Losses(t, s.Inputs(t.Context(), part.first, part.last))
				gone := tally{}
				have := map[uint64]bool{}
				for _, in := range inputs {
					have[in.Ord] = true
				}
				for n := uint64(0); n < day; n++ {
					for source, of := range map[string]span{sources[0]: {0, 9}, sources[1]: {10, 19}, "": {20, 20}} {
						for k := of.first; k <= of.last; k++ {
							if ord := 1 + 32*n + k; ord >= part.first && ord <= part.last && !have[ord] {
								gone.note(source, n+1)
								break
							}
						}
					}
				}
				covers(t, gone, lost)
			}
			for _, source := range sources {
				from, to := secondAt(4), secondAt(9)
				for _, all := range []bool{true, false} {
					first, last := uint64(5), uint64(9)
					if all {
						from, to, first, last = sample.Past, secondAt(day-1)+1e9, 1, day
					}
					blocks, lost := journaltest.Losses(t, s.Readings(t.Context(), source, from, to))
					gone := tally{}
					there := spans{}
					for _, b := range blocks {
						there.add(b.Number)
					}
					for _, r := range missing(first, last, source, nil, there) {
						for n := r.first; n <= r.last; n++ {
							gone.note(source, n)
						}
					}
					covers(t, gone, lost)
				}
			}
			s.Close()
			if t.Failed() {
				t.Fatalf("byte %d of %s, exclusive-or %#02x", places[i], file, bits)
			}
		}
	}
}
