package sqlite

import (
	"context"
	"testing"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
)

// testReserve is small, so that tests are quick; that it is enough is for the
// tests of full disks to say.
const testReserve = 1 << 20

// mustOpen opens the record in a folder. It is closed when the test ends.
func mustOpen(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(context.Background(), dir, Options{Reserve: testReserve})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestConformance(t *testing.T) {
	journaltest.Run(t, func(t testing.TB) func() journal.Journal {
		dir := t.TempDir()
		return func() journal.Journal { return mustOpen(t, dir) }
	})
}
