package sqlite

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// partly returns a block of the first n scans of b.
func partly(b record.Block, n int) record.Block {
	b.Scans = slices.Clone(b.Scans[:n])
	return b
}

const grownBlocks = 6 // of each source of the growing fixture, the last two on the next day

// growing is fixture with a scan of each source a second, in blocks that grow to
// ten. Ordinals are 32 a block, as missed expects.
func growing(t testing.TB) (want *journaltest.Memory, crashed, closed string) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	want = &journaltest.Memory{}
	for k := range grownBlocks {
		base, at := uint64(1+32*k), journaltest.Noon+sample.Instant(k)*10e9
		if k >= grownBlocks-2 {
			at = at.Add(24 * time.Hour)
		}
		mat, leg := matBlock(sources[0], base, 1200, 10, at), journaltest.Block(sources[1], base+10, 1, 10, at)
		for n := 1; n <= 10; n++ {
			for _, j := range []journal.Journal{s, want} {
				var ticks []record.Tick
				if n == 10 {
					ticks = []record.Tick{{Ord: base + 20, At: at}}
				}
				if err := j.AppendReadings(t.Context(), []record.Block{partly(mat, n), partly(leg, n)}, ticks); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	crashed = copyDir(t, dir)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return want, crashed, dir
}

// A byte of a file or a log with blocks that grew is damaged. What was kept of a
// block before it grew must not pass for the whole of it.
func TestFlippedBytesOfWhatGrew(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	want, crashed, closed := growing(t)
	rng := rand.New(rand.NewPCG(13, uint64(*faults)))
	for _, image := range []string{crashed, closed} {
		files, err := filepath.Glob(filepath.Join(image, dayPrefix+"*"))
		if err != nil || len(files) < 2 {
			t.Fatalf("%d files, %v", len(files), err)
		}
		for _, file := range files {
			info, err := os.Stat(file)
			if err != nil {
				t.Fatal(err)
			}
			name := map[string]string{crashed: "crashed/", closed: "closed/"}[image] + filepath.Base(file)
			t.Run(name, func(t *testing.T) {
				for range 3 * *faults {
					at, bits := rng.Int64N(max(1, info.Size())), byte(1<<rng.IntN(8))
					if info.Size() == 0 {
						continue
					}
					dir := copyDir(t, image)
					flip(t, filepath.Join(dir, filepath.Base(file)), at, bits)
					survives(t, dir, want)
					if t.Failed() {
						t.Fatalf("byte %d of %s, exclusive-or %#02x", at, name, bits)
					}
				}
			})
		}
	}
}

// While a file is mended its blocks are found in any order, in every version that
// lies about: the longest stays.
func TestMendingKeepsTheLongest(t *testing.T) {
	b := journaltest.Block("hub/a", 11, 2, 10, journaltest.Noon)
	b.Number, b.After = 4, 9
	var bodies [][]byte
	for n := range len(b.Scans) {
		part := partly(b, n+1)
		body, err := part.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		bodies = append(bodies, body)
	}
	rng := rand.New(rand.NewPCG(1, 14))
	for round := range 20 {
		db, err := establish(t.Context(), filepath.Join(t.TempDir(), dayFile(0)), &dayKind)
		if err != nil {
			t.Fatal(err)
		}
		rng.Shuffle(len(bodies), func(i, k int) { bodies[i], bodies[k] = bodies[k], bodies[i] })
		cut := rng.IntN(len(bodies))
		for _, some := range [][][]byte{bodies[:cut], bodies[cut:]} {
			if err := dayKind.keepAll(t.Context(), db, some); err != nil {
				t.Fatal(err)
			}
		}
		sum, heads, err := readDay(t.Context(), db)
		if want := (summary{1, 11, 29, 18, journaltest.Noon, journaltest.Noon + 9e8}); err != nil || sum != want || heads["hub/a"] != (sourceHead{4, 29}) {
			t.Errorf("round %d: %+v, %+v, %v", round, sum, heads, err)
		}
		var body []byte
		if err := db.QueryRow("SELECT body FROM blocks").Scan(&body); err != nil {
			t.Fatal(err)
		}
		if got, err := record.DecodeBlock(body); err != nil || !got.Equal(&b) || got.Number != 4 || got.After != 9 {
			t.Errorf("round %d: %+v, %v", round, got, err)
		}
		db.Close()
	}
}

// A block that is there as it was before it grew is a loss, in the middle, as the
// next one says, and at the end.
func TestShortenedIsLost(t *testing.T) {
	image := t.TempDir()
	s := mustOpen(t, image)
	short := map[uint64][]byte{} // blocks before they grew
	for k := range uint64(4) {
		b := journaltest.Block("hub/a", 1+20*k, 2, 10, journaltest.Noon+sample.Instant(k)*10e9)
		for _, n := range []int{6, 10} {
			if err := s.AppendReadings(t.Context(), []record.Block{partly(b, n)}, []record.Tick{{Ord: 20*k + 2*uint64(n)}}); err != nil {
				t.Fatal(err)
			}
			if n == 6 {
				body := []byte(nil)
				if err := s.days.w.QueryRow("SELECT body FROM blocks WHERE first_ord = ?", 1+20*k).Scan(&body); err != nil {
					t.Fatal(err)
				}
				short[k+1] = body
			}
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	journaltest.Sound(t, mustOpen(t, copyDir(t, image)))
	for _, number := range []uint64{1, 3, 4} {
		s := holey(t, image, map[int][]string{0: {fmt.Sprintf("UPDATE blocks SET last_ord = %d, last_at = %d, body = x'%x' WHERE first_ord = %d",
			20*number-20+11, journaltest.Noon+sample.Instant(number-1)*10e9+5e8, short[number], 20*number-19)}})
		lost, rest := lostByCheck(t, s)
		if want := (spans{{number, number}}); len(lost) != 1 || !slices.Equal(lost["hub/a"], want) || len(rest) > 0 {
			t.Errorf("block %d is short; the check says %v, %v", number, lost, rest)
		}
		for _, from := range []uint64{1, 20*number - 19, 20*number - 19 + 12, 20*number - 1, 20*number + 1} {
			_, told := journaltest.Losses(t, s.Inputs(t.Context(), from, math.MaxUint64))
			last := number == 4 && from > 79 // nothing was asked for that is lost
			if len(told) != 1 && !last || len(told) > 1 || len(told) == 1 && (told[0].First != number || told[0].Last != number || told[0].Source != "hub/a") {
				t.Errorf("block %d is short; inputs from %d tell %v", number, from, told)
			}
		}
		// It can go on all the same.
		next := journaltest.Block("hub/a", 101, 2, 10, journaltest.Noon+60e9)
		if err := s.AppendReadings(t.Context(), []record.Block{next}, nil); err != nil || s.days.heads["hub/a"].number != 5 {
			t.Errorf("block %d is short; the next one: %+v, %v", number, s.days.heads, err)
		}
		if lost, _ := lostByCheck(t, s); !slices.Equal(lost["hub/a"], spans{{number, number}}) {
			t.Errorf("block %d is short; when it has gone on, the check says %v", number, lost)
		}
		s.Close()
	}
}

// A row that grows may be damaged in the meantime: readings go on, in the mended
// file, or in a block of their own.
func TestGrowsThroughDamage(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	b := matBlock("hub/mat", 1, 1200, 10, journaltest.Noon)
	if err := s.AppendReadings(t.Context(), []record.Block{partly(b, 3)}, nil); err != nil {
		t.Fatal(err)
	}
	// The index no longer leads to the row, nor the row to its index.
	if _, err := s.days.w.Exec("PRAGMA writable_schema(1); UPDATE sqlite_schema SET rootpage = 1 WHERE name = 'blocks_ord'; PRAGMA writable_schema(0)"); err != nil {
		t.Fatal(err)
	}
	if err := s.days.w.Close(); err != nil {
		t.Fatal(err)
	}
	s.days.w, s.days.current = nil, ""
	if err := s.AppendReadings(t.Context(), []record.Block{partly(b, 5)}, nil); err != nil {
		t.Fatal(err)
	}
	got := journaltest.Gather(t, s.Readings(t.Context(), "hub/mat", sample.Past, sample.Never))
	if len(got) != 1 || len(got[0].Scans) != 5 || got[0].Number != 1 || len(s.mended()) == 0 {
		t.Errorf("%d blocks, mended %v", len(got), s.mended())
	}
	journaltest.Sound(t, s)
}

// A stream that has passed a block when it was short, and a file that was
// narrower when the reader looked: every input up to where reading began comes.
func TestReaderOfTheShortBody(t *testing.T) {
	s := mustOpen(t, t.TempDir())
	const n = 2 * blocksAtOnce // blocks, so that a reader pages
	var all []record.Block
	put := func(scans int) {
		t.Helper()
		var part []record.Block
		for _, b := range all {
			part = append(part, partly(b, scans))
		}
		if err := s.AppendReadings(t.Context(), part, nil); err != nil {
			t.Fatal(err)
		}
	}
	for i := range uint64(n) {
		all = append(all, journaltest.Block(fmt.Sprintf("hub-%d/a", i), 1+i, n, 10, journaltest.Noon))
	}
	put(3)
	seen := uint64(0)
	for in, err := range s.Inputs(t.Context(), 1, math.MaxUint64) {
		if seen++; err != nil || in.Ord != seen {
			t.Fatalf("input %d is %d, %v", seen, in.Ord, err)
		}
		if seen == 2 { // the first page is read, the second not yet
			put(10)
		}
	}
	if seen != 3*n {
		t.Errorf("%d inputs, want the %d that were there", seen, 3*n)
	}
	for _, from := range []uint64{2, n, 5 * n, 9*n + 3, 10 * n} { // back over all of a block
		next := from
		for in, err := range s.Inputs(t.Context(), from, math.MaxUint64) {
			if err != nil || in.Ord != next {
				t.Fatalf("from %d: input %d is %d, %v", from, next, in.Ord, err)
			}
			next++
		}
		if next != 10*n+1 {
			t.Errorf("from %d inputs end with %d", from, next-1)
		}
	}
}
