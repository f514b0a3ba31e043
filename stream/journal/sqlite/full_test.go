package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"

	"weald/ingest/raced"
	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// smallDisk mounts a file system of a size, or skips the test where it may not.
func smallDisk(t *testing.T, megabytes int) string {
	t.Helper()
	if testing.Short() {
		t.Skip("fills a disk")
	}
	if os.Getuid() != 0 {
		t.Skip("not allowed to mount a small file system: run as root to test a full disk")
	}
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm", megabytes)); err != nil {
		t.Skipf("no small file system here: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Errorf("%s stays mounted: %v", dir, err)
		}
	})
	return dir
}

// fill appends readings until there is no room, and returns the next ordinal.
func fill(t *testing.T, s *Store, ord uint64) uint64 {
	t.Helper()
	for range 10000 {
		b := []record.Block{matBlock("hub/mat", ord, 2048, 10, journaltest.Noon+sample.Instant(ord)*1e8)}
		switch err := s.AppendReadings(t.Context(), b, nil); {
		case errors.Is(err, journal.ErrFull):
			return ord
		case err != nil:
			t.Fatalf("after %d scans: %v", ord, err)
		}
		ord += 10
	}
	t.Fatal("the disk never fills")
	return 0
}

// A disk fills. Readings stop, and say why; entries go on as long as the reserve
// lasts; nothing acknowledged is lost; and when there is room, all goes on.
func TestFullDisk(t *testing.T) {
	raced.Skip(t, "nothing runs beside anything here")
	dir := smallDisk(t, 14)
	const reserve = 1 << 20
	data := filepath.Join(dir, "record")
	s, err := Open(context.Background(), data, Options{Reserve: reserve})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { s.Close() }()
	ballast := filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 4<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if r := s.Room(); r.Full || !r.Reserve || r.Err != nil {
		t.Fatalf("room before: %+v", r)
	}
	add := func(text string) error {
		_, err := s.Append(t.Context(), journaltest.Mark(text))
		return err
	}
	if err := add("before"); err != nil {
		t.Fatal(err)
	}
	ord := fill(t, s, 1)
	t.Logf("%d scans until the disk was full", ord-1)
	if r := s.Room(); !r.Full {
		t.Errorf("room when full: %+v", r)
	}

	// Entries go on, thousands of them, and readings do not eat their room.
	kept := 1
	refused := error(nil)
	for i := range 200000 {
		if refused = add(fmt.Sprintf("while full %d", i)); refused != nil {
			break
		}
		kept++
		if i%100 == 0 {
			err := s.AppendReadings(t.Context(), []record.Block{matBlock("hub/mat", ord, 2048, 10, journaltest.Noon)}, nil)
			if !errors.Is(err, journal.ErrFull) {
				t.Fatalf("readings while full: %v", err)
			}
		}
	}
	t.Logf("%d entries until the reserve of %d bytes was used up: %v", kept, reserve, refused)
	if kept < 500 {
		t.Errorf("%d entries found room in the reserve, that is too few", kept)
	}
	if !errors.Is(refused, journal.ErrFull) {
		t.Errorf("entries were refused with %v", refused)
	}
	if _, err := s.PutDocument(t.Context(), record.Document{Name: "a", Body: []byte("b")}); !errors.Is(err, journal.ErrFull) {
		t.Errorf("a document while full: %v", err)
	}
	whole := func(entries, scans int) {
		t.Helper()
		if got := journaltest.Gather(t, s.Entries(t.Context(), journal.Query{})); len(got) != entries {
			t.Errorf("%d entries, want %d", len(got), entries)
		}
		if got := journaltest.Gather(t, s.Inputs(t.Context(), 1, math.MaxUint64)); len(got) != scans {
			t.Errorf("%d scans, want %d", len(got), scans)
		}
		journaltest.Sound(t, s)
	}
	whole(kept, int(ord-1)) // a full disk can still be read

	// It is started again on the full disk.
	s.Close()
	if s, err = Open(context.Background(), data, Options{Reserve: reserve}); err != nil {
		t.Fatalf("opening on a full disk: %v", err)
	}
	whole(kept, int(ord-1))
	if r := s.Room(); !r.Full || r.Reserve {
		t.Errorf("room when opened full: %+v", r)
	}

	// Somebody makes room.
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if err := add("there is room"); err != nil {
		t.Errorf("an entry when there is room: %v", err)
	}
	if err := s.AppendReadings(t.Context(), []record.Block{matBlock("hub/mat", ord, 2048, 10, journaltest.Noon)}, nil); err != nil {
		t.Errorf("readings when there is room: %v", err)
	}
	if r := s.Room(); r.Full || !r.Reserve {
		t.Errorf("room afterwards: %+v", r)
	}
	whole(kept+1, int(ord+9))

	// And once more, without a process in between.
	ord = fill(t, s, ord+10)
	if err := add("full again"); err != nil {
		t.Errorf("an entry on a disk that is full again: %v", err)
	}
	whole(kept+2, int(ord-1))
}

// On a disk that is full from the beginning the error says so.
func TestNoRoomToBegin(t *testing.T) {
	dir := smallDisk(t, 1)
	if err := os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 1<<20-2*pageSize), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Open(context.Background(), filepath.Join(dir, "record"), Options{})
	if !errors.Is(err, journal.ErrFull) {
		t.Errorf("error %v, want %v", err, journal.ErrFull)
	}
	if err == nil {
		s.Close()
	}
}
