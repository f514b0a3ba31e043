package sqlite

import (
	"context"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"weald/ingest/raced"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// A byte of any file is damaged while nobody looks. The record opens; what can
// be read is as it was written; what cannot is told; and when it is mended, at
// most one thing is lost, and the check names exactly that.
func TestFlippedBytes(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	want, crashed, closed := fixture(t)
	rng := rand.New(rand.NewPCG(11, uint64(*faults)))
	for _, image := range []string{crashed, closed} {
		entries, err := os.ReadDir(image)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			info, err := e.Info()
			if err != nil || info.Size() == 0 || e.Name() == reserveName {
				continue
			}
			name := map[string]string{crashed: "crashed/", closed: "closed/"}[image] + e.Name()
			t.Run(name, func(t *testing.T) {
				for i := range *faults {
					at := rng.Int64N(info.Size())
					if i%3 == 0 {
						at = rng.Int64N(min(info.Size(), 4200)) // where the file says what it is
					}
					bits := byte(1 << rng.IntN(8))
					if i%4 == 3 {
						bits = byte(1 + rng.IntN(255))
					}
					dir := copyDir(t, image)
					flip(t, filepath.Join(dir, e.Name()), at, bits)
					survives(t, dir, want)
					if t.Failed() {
						t.Fatalf("byte %d of %s, exclusive-or %#02x", at, name, bits)
					}
				}
			})
		}
	}
}

func flip(t testing.TB, path string, at int64, bits byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b := []byte{0}
	if _, err := f.ReadAt(b, at); err != nil {
		t.Fatal(err)
	}
	b[0] ^= bits
	if _, err := f.WriteAt(b, at); err != nil {
		t.Fatal(err)
	}
}

func survives(t *testing.T, dir string, want *journaltest.Memory) {
	t.Helper()
	s, err := Open(context.Background(), dir, Options{Reserve: testReserve})
	if err != nil {
		t.Errorf("it does not open: %v", err)
		return
	}
	defer s.Close()
	gone, told := missingOf(t, s, want)
	covers(t, gone, told)

	if err := s.Mend(t.Context()); err != nil {
		t.Errorf("mending: %v", err)
	}
	gone, _ = missingOf(t, s, want)
	if n := gone.count(); n > 1 {
		t.Errorf("%d things are lost by one byte: %v", n, gone)
	}
	lost, rest := lostByCheck(t, s)
	named := maps.Clone(gone)
	delete(named, "documents")
	if !maps.EqualFunc(lost, named, slices.Equal) {
		t.Errorf("the check names %v as lost, and %v is", lost, named)
	}
	for _, f := range rest {
		if f.Trouble != journal.Unreadable {
			t.Errorf("after mending: %s", f)
		}
	}
	// And it goes on.
	if err := second(t.Context(), s, 1000, secondAt(seconds)); err != nil {
		t.Errorf("going on: %v", err)
	}
}

// Whole pages are overwritten with zeros, as by a lost write. What was on them is
// lost; nothing else is, and all that is lost is named.
func TestLostPages(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	want, _, closed := fixture(t)
	rng := rand.New(rand.NewPCG(12, 1))
	for _, file := range []string{mainName, dayFile(secondAt(0))} {
		for range *faults {
			dir := copyDir(t, closed)
			path := filepath.Join(dir, file)
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			page := rng.Int64N(info.Size() / pageSize)
			f, err := os.OpenFile(path, os.O_RDWR, 0)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := f.WriteAt(make([]byte, pageSize), page*pageSize); err != nil {
				t.Fatal(err)
			}
			f.Close()

			s := mustOpen(t, dir)
			gone, told := missingOf(t, s, want)
			covers(t, gone, told)
			if err := s.Mend(t.Context()); err != nil {
				t.Fatalf("%s, page %d: %v", file, page, err)
			}
			gone, _ = missingOf(t, s, want)
			lost, _ := lostByCheck(t, s)
			delete(gone, "documents")
			if !maps.EqualFunc(lost, gone, slices.Equal) {
				t.Errorf("%s, page %d: the check names %v as lost, and %v is", file, page, lost, gone)
			}
			for source := range lost {
				if (source == journal.Entries) != (file == mainName) {
					t.Errorf("%s, page %d: %q has a loss", file, page, source)
				}
			}
			s.Close()
		}
	}
}

// A file that is gone altogether is named, with what was in it.
func TestMissingDay(t *testing.T) {
	want, _, closed := fixture(t)
	file := dayFile(secondAt(0))
	if err := os.Remove(filepath.Join(closed, file)); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, closed)
	gone, _ := missingOf(t, s, want)
	const n = seconds * 2 / 3
	for _, source := range append(sources, "") {
		if !slices.Equal(gone[source], spans{{1, n}}) {
			t.Errorf("of %q %v are gone, want 1 to %d", source, gone[source], n)
		}
	}
	said := false
	for f, err := range s.Check(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		said = said || f.Trouble == journal.Lost && f.File == file && strings.Contains(f.Text, "missing")
	}
	if !said {
		t.Error("the check does not name the file")
	}
	// The clock is set back to that day: it begins anew.
	if err := second(t.Context(), s, 500, secondAt(0)); err != nil {
		t.Errorf("going on in the day that is missing: %v", err)
	}
}
