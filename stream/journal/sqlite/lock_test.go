package sqlite

import (
	"testing"

	"golang.org/x/sys/unix"
)

// Whoever closes a record leaves it to others at once, though a process that was forked
// meanwhile has its files for a moment longer.
func TestClosedIsFree(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	forked, err := unix.Dup(int(s.lock.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(forked)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = Open(t.Context(), dir, Options{}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
