package sqlite

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"weald/ingest/raced"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A log ends anywhere: what came before the cut is there, as a beginning of what
// was written without holes, and nothing is said to be lost, as nothing that was
// acknowledged is. Where something else follows the cut, the call that it cut may
// look like a whole one that was damaged: of that one, and of no other, something
// may be there, or be said to be lost.
func TestTornLogs(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	dir := t.TempDir()
	s := mustOpen(t, dir)
	const n = 40
	ends := map[string][]int64{} // how long each log was after each call
	day := dayFile(journaltest.Noon)
	for i := range n {
		if err := s.AppendReadings(t.Context(), []record.Block{matBlock("hub/mat", uint64(1+10*i), 100, 10, journaltest.Noon)}, nil); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint(i)), journaltest.Mark(fmt.Sprint(i))); err != nil {
			t.Fatal(err)
		}
		for _, file := range []string{mainName, day} {
			info, err := os.Stat(filepath.Join(dir, file+"-wal"))
			if err != nil {
				t.Fatal(err)
			}
			ends[file] = append(ends[file], info.Size())
		}
	}
	image := copyDir(t, dir)
	s.Close()
	rng := rand.New(rand.NewPCG(5, 6))
	for _, file := range []string{mainName, day} {
		for range 3 * *faults {
			// The beginning of the log has what makes the file a file of ours.
			from := ends[file][0]
			cut := from + rng.Int64N(ends[file][n-1]-from+1)
			dir := copyDir(t, image)
			log := filepath.Join(dir, file+"-wal")
			if err := os.Truncate(log, cut); err != nil {
				t.Fatal(err)
			}
			garbled := rng.IntN(2) == 0
			if garbled { // what was not synced may be anything
				f, err := os.OpenFile(log, os.O_WRONLY|os.O_APPEND, 0)
				if err != nil {
					t.Fatal(err)
				}
				garbage := make([]byte, rng.IntN(3*frameSize))
				for i := range garbage {
					garbage[i] = byte(rng.Uint32())
				}
				if _, err := f.Write(garbage); err != nil {
					t.Fatal(err)
				}
				f.Close()
			}
			whole := 0
			for whole < n && ends[file][whole] <= cut {
				whole++
			}
			s, err := Open(context.Background(), dir, Options{Reserve: -1})
			if err != nil {
				t.Fatalf("%s cut to %d: %v", file, cut, err)
			}
			entries, _ := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{}))
			inputs, _ := journaltest.Losses(t, s.Inputs(t.Context(), 1, math.MaxUint64))
			wantEntries, wantInputs := 2*n, 10*n
			if file == mainName {
				wantEntries = 2 * whole
			} else {
				wantInputs = 10 * whole
			}
			mayEntries, mayInputs := 0, 0
			if garbled && file == mainName {
				mayEntries = 2
			} else if garbled {
				mayInputs = 10
			}
			if n := len(entries) - wantEntries; n < 0 || n > mayEntries {
				t.Errorf("%s cut to %d, after call %d: %d entries, want %d", file, cut, whole, len(entries), wantEntries)
			}
			if n := len(inputs) - wantInputs; n < 0 || n > mayInputs {
				t.Errorf("%s cut to %d, after call %d: %d inputs, want %d", file, cut, whole, len(inputs), wantInputs)
			}
			for f, err := range s.Check(t.Context()) {
				if err != nil || !garbled || f.Trouble != journal.Lost || f.First <= uint64(whole) {
					t.Errorf("%s cut to %d, after call %d: %v, %v", file, cut, whole, f, err)
				}
			}
			s.Close()
		}
	}
}

// A byte in the middle of a log would make SQLite ignore all that follows it.
// What follows is kept again.
func TestDamageWithinALog(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	for name, damage := range map[string]func(t *testing.T, log string, size int64){
		"a frame":         func(t *testing.T, log string, size int64) { flip(t, log, size/3/frameSize*frameSize+logHeader+2000, 4) },
		"a frame's salt":  func(t *testing.T, log string, size int64) { flip(t, log, size/2/frameSize*frameSize+logHeader+9, 1) },
		"a frame's page":  func(t *testing.T, log string, size int64) { flip(t, log, size/2/frameSize*frameSize+logHeader+3, 1) },
		"the header":      func(t *testing.T, log string, size int64) { flip(t, log, 17, 128) },
		"the magic":       func(t *testing.T, log string, size int64) { flip(t, log, 1, 128) },
		"the first frame": func(t *testing.T, log string, size int64) { flip(t, log, logHeader+frameHeader+50, 1) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			s := mustOpen(t, dir)
			const n = 30
			for i := range n {
				if err := s.AppendReadings(t.Context(), []record.Block{matBlock("hub/mat", uint64(1+10*i), 40, 10, journaltest.Noon)}, nil); err != nil {
					t.Fatal(err)
				}
				if _, err := s.Append(t.Context(), journaltest.Mark(fmt.Sprint(i))); err != nil {
					t.Fatal(err)
				}
			}
			for _, file := range []string{mainName, dayFile(journaltest.Noon)} {
				image := copyDir(t, dir)
				log := filepath.Join(image, file+"-wal")
				info, err := os.Stat(log)
				if err != nil {
					t.Fatal(err)
				}
				damage(t, log, info.Size())
				s := mustOpen(t, image)
				if len(s.mended()) == 0 {
					t.Errorf("%s: nothing was noticed", file)
				}
				entries, lostEntries := journaltest.Losses(t, s.Entries(t.Context(), journal.Query{}))
				inputs, lostInputs := journaltest.Losses(t, s.Inputs(t.Context(), 1, math.MaxUint64))
				if len(entries) < n-1 || len(inputs) < 10*(n-1) || len(entries)+len(lostEntries) != n || len(inputs)+10*len(lostInputs) != 10*n {
					t.Errorf("%s: %d entries and %d inputs of %d and %d; lost: %v %v", file, len(entries), len(inputs), n, 10*n, lostEntries, lostInputs)
				}
				s.Close()
			}
		})
	}
}

// The process dies while a file is being built anew.
func TestCrashWhileMending(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	want, _, closed := fixture(t)
	day := dayFile(secondAt(0))
	for name, c := range map[string]func(dir, file string) error{
		"before the old one is moved": func(dir, file string) error {
			return os.WriteFile(filepath.Join(dir, file+mendingSuffix), []byte("half of it"), 0o600)
		},
		"after the old one is moved": func(dir, file string) error {
			path := filepath.Join(dir, file)
			if err := copyFile(path+mendingSuffix, path); err != nil {
				return err
			}
			// The log of the old one is still there, and must not be taken for
			// one of the new one.
			if err := os.WriteFile(path+"-wal", make([]byte, 9000), 0o600); err != nil {
				return err
			}
			return os.Rename(path, path+".damaged-1")
		},
	} {
		for _, file := range []string{mainName, day} {
			dir := copyDir(t, closed)
			if err := c(dir, file); err != nil {
				t.Fatal(err)
			}
			s := mustOpen(t, dir)
			if gone, _ := missingOf(t, s, want); gone.count() > 0 {
				t.Errorf("%s, %s: %v is gone", name, file, gone)
			}
			journaltest.Sound(t, s)
			if left, _ := filepath.Glob(filepath.Join(dir, "*"+mendingSuffix+"*")); len(left) > 0 {
				t.Errorf("%s, %s: %v is left over", name, file, left)
			}
			s.Close()
		}
	}
}
