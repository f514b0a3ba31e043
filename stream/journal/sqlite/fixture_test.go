package sqlite

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// faults makes the tests of faults larger: 200 is a night's worth.
var faults = flag.Int("faults", 4, "how many times each kind of fault is brought about")

// checks has rapid draw n cases in a test that writes to a disk, unless somebody says how
// many.
func checks(t testing.TB, n string) {
	t.Helper()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		if err := f.Value.Set(n); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Value.Set(f.DefValue) })
	}
}

// Sources of the fixture: a mat whose blocks fill many pages, a wrap whose
// blocks share one.
var sources = []string{"hub/mat", "trolley/leg"}

// matBlock is a block of n scans that compresses as badly as a real mat.
func matBlock(source string, ord uint64, channels, n int, at sample.Instant) record.Block {
	rng := rand.New(rand.NewPCG(ord, 7))
	b := record.Block{Source: source, Config: 1}
	for i := range n {
		s := record.Scan{Ord: ord + uint64(i), At: at + sample.Instant(i)*1e8, Seq: uint32(ord) + uint32(i), Rail: 4095, Raw: make([]float64, channels)}
		s.Arrived = s.At + 2e6
		for c := range s.Raw {
			s.Raw[c] = float64(1000 + rng.IntN(64))
		}
		b.Scans = append(b.Scans, s)
	}
	return b
}

// second writes one second of a ward: blocks of both sources, ticks, entries
// that are inputs and that are not, and now and then the rest. Ordinals are 32
// a second from base on.
func second(ctx context.Context, j journal.Journal, n int, at sample.Instant) error {
	base := uint64(1 + 32*n)
	blocks := []record.Block{matBlock(sources[0], base, 1200, 10, at), journaltest.Block(sources[1], base+10, 1, 10, at)}
	if err := j.AppendReadings(ctx, blocks, []record.Tick{{Ord: base + 20, At: at}}); err != nil {
		return err
	}
	if _, err := j.Append(ctx, journaltest.Act(base+21), journaltest.Mark(fmt.Sprint("second ", n))); err != nil {
		return err
	}
	if n%4 == 0 {
		if _, err := j.PutDocument(ctx, record.Document{Name: fmt.Sprintf("calibration/%02d", n), Written: at, Body: fmt.Append(nil, n)}); err != nil {
			return err
		}
		if err := j.PutSnapshot(ctx, record.Snapshot{Ord: base, At: at, Body: fmt.Append(nil, n)}); err != nil {
			return err
		}
		return j.PutHistory(ctx, record.Stretch{Place: "bed-4", Series: "mat.peak", Tier: record.Second, Points: []record.Point{{At: at, Min: 1, Mean: 2, Max: float32(n)}}})
	}
	return nil
}

const seconds = 24 // of the fixture: the last third of them on the next day

func secondAt(n int) sample.Instant {
	at := journaltest.Noon + sample.Instant(n)*1e9
	if n >= seconds*2/3 {
		return at.Add(24 * time.Hour)
	}
	return at
}

// fixture makes a record and what is in it, and two images of its folder: as a
// crash would leave it, and as it is closed. What is in it is the same for all
// tests, which only read it.
func fixture(t testing.TB) (want *journaltest.Memory, crashed, closed string) {
	t.Helper()
	made.Do(func() {
		dir := t.TempDir()
		s := mustOpen(t, dir)
		made.want = &journaltest.Memory{}
		for n := range seconds {
			for _, j := range []journal.Journal{s, made.want} {
				if err := second(t.Context(), j, n, secondAt(n)); err != nil {
					t.Fatal(err)
				}
			}
		}
		made.crashed = imageOf(t, dir)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		made.closed = imageOf(t, dir)
	})
	if made.closed == nil {
		t.Fatal("the fixture could not be made")
	}
	crashed, closed = t.TempDir(), t.TempDir()
	for dir, files := range map[string]map[string][]byte{crashed: made.crashed, closed: made.closed} {
		for name, b := range files {
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	return made.want, crashed, closed
}

// imageOf returns what is in every file of a folder but the reserve, which is large and
// made again.
func imageOf(t testing.TB, dir string) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == reserveName {
			continue
		}
		if all[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// made is what fixture hands out, by name of file.
var made struct {
	sync.Once
	want            *journaltest.Memory
	crashed, closed map[string][]byte
}

func copyDir(t testing.TB, from string) string {
	t.Helper()
	to := t.TempDir()
	entries, err := os.ReadDir(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == reserveName {
			continue // large, and made again
		}
		copyTest(t, filepath.Join(to, e.Name()), filepath.Join(from, e.Name()))
	}
	return to
}

func copyTest(t testing.TB, to, from string) {
	t.Helper()
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}

// A tally is what of the fixture is missing, by source, "entries" and
// "documents".
type tally map[string]spans

func (m tally) note(source string, n uint64) {
	s := m[source]
	s.add(n)
	m[source] = s
}

func (m tally) count() (n int) {
	for _, s := range m {
		for _, r := range s {
			n += int(r.last - r.first + 1)
		}
	}
	return n
}

// missingOf reads everything and returns what is not there, having failed the
// test if anything is there that was not written, or is not as it was written,
// and what the record itself says to be lost.
func missingOf(t testing.TB, s journal.Journal, want *journaltest.Memory) (gone tally, told []*journal.Loss) {
	t.Helper()
	ctx := t.Context()
	gone = tally{}
	wantEntries := journaltest.Gather(t, want.Entries(ctx, journal.Query{}))
	entries, lost := journaltest.Losses(t, s.Entries(ctx, journal.Query{}))
	told = append(told, lost...)
	for _, e := range entries {
		if e.Position == 0 || int(e.Position) > len(wantEntries) || !cmp.Equal(e, wantEntries[e.Position-1], equalNaN) {
			t.Fatalf("entry %d was not written like this: %+v", e.Position, e)
		}
	}
	for _, e := range wantEntries {
		if !slices.ContainsFunc(entries, func(x record.Entry) bool { return x.Position == e.Position }) {
			gone.note(journal.Entries, uint64(e.Position))
		}
	}
	wantInputs := journaltest.Gather(t, want.Inputs(ctx, 0, math.MaxUint64))
	inputs, lost := journaltest.Losses(t, s.Inputs(ctx, 0, math.MaxUint64))
	told = append(told, lost...)
	k := 0
	for _, in := range inputs {
		for k < len(wantInputs) && wantInputs[k].Ord < in.Ord {
			missed(gone, wantInputs[k])
			k++
		}
		if k == len(wantInputs) || !sameInput(in, wantInputs[k]) {
			t.Fatalf("input %d was not written like this: %+v", in.Ord, in)
		}
		k++
	}
	for ; k < len(wantInputs); k++ {
		missed(gone, wantInputs[k])
	}
	for _, d := range journaltest.Gather(t, want.Documents(ctx, "")) {
		got, err := s.Document(ctx, d.Name, 0)
		if errors.Is(err, journal.ErrNotFound) || errors.As(err, new(*journal.Loss)) {
			var n uint64
			fmt.Sscanf(d.Name, "calibration/%d", &n)
			gone.note("documents", n)
		} else if err != nil || !got.Equal(&d) {
			t.Fatalf("document %s: %+v, %v", d.Name, got, err)
		}
	}
	return gone, told
}

// missed notes the block, or the group of ticks, of an input; there is one of
// each in each second. Entries are noted by position.
func missed(gone tally, in record.Input) {
	number := (in.Ord-1)/32 + 1
	source := in.Source
	switch {
	case in.Entry != nil:
		return
	case in.Tick != nil:
		source = ""
	}
	if len(missing(number, number, source, nil, gone[source])) > 0 {
		gone.note(source, number)
	}
}

// sameInput compares inputs without reflection: there are millions of readings.
func sameInput(a, b record.Input) bool {
	if a.Scan == nil || b.Scan == nil {
		return cmp.Equal(a, b, equalNaN)
	}
	x, y := record.Block{Source: a.Source, Config: a.Config, Scans: []record.Scan{*a.Scan}}, record.Block{Source: b.Source, Config: b.Config, Scans: []record.Scan{*b.Scan}}
	return x.Equal(&y)
}

var equalNaN = cmp.Comparer(func(a, b float64) bool { return a == b || a != a && b != b })

// covers fails the test if something is gone that nobody told to be lost.
func covers(t testing.TB, gone tally, told []*journal.Loss) {
	t.Helper()
	for source, numbers := range gone {
		if source == "documents" {
			continue // asked for by name, and told by an error
		}
		have := spans{}
		for _, l := range told {
			if l.Source == source {
				have = append(have, span{l.First, l.Last})
			}
		}
		for _, r := range numbers {
			if left := missing(r.first, r.last, source, nil, have); len(left) > 0 {
				t.Errorf("of %q, %v are gone, and nobody said so; told: %v", source, left, told)
			}
		}
	}
}

// lostByCheck returns what Check says to be lost, and everything else it says.
func lostByCheck(t testing.TB, s journal.Journal) (lost tally, rest []journal.Finding) {
	t.Helper()
	lost = tally{}
	for f, err := range s.Check(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		if f.Trouble != journal.Lost {
			rest = append(rest, f)
			continue
		}
		for n := f.First; n <= f.Last; n++ {
			lost.note(f.Source, n)
		}
	}
	return lost, rest
}
