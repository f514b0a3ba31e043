// Package journaltest has the tests that every journal must pass, and Memory, a
// journal for the tests of others that keeps its promises but for the one that
// it survives its process.
//
// Run takes a Maker, so that one call holds a store to every promise of package
// journal: alone, from many goroutines, after being closed and opened again, and
// against Memory over random sequences of calls.
package journaltest

import (
	"testing"

	"weald/stream/journal"
)

// A Maker makes a new and empty record, and returns how to open it. What open
// returns is closed before open is called again, and then is the same record.
type Maker func(t testing.TB) (open func() journal.Journal)

// Run holds the records that maker makes to the promises of package journal.
func Run(t *testing.T, maker Maker) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Maker)
	}{
		{"Entries", testEntries},
		{"EntriesAtOnce", testEntriesAtOnce},
		{"AllOrNone", testAllOrNone},
		{"Wait", testWait},
		{"Inputs", testInputs},
		{"Repeated", testRepeated},
		{"OrdinalsAscend", testOrdinalsAscend},
		{"ReadingsByTime", testReadingsByTime},
		{"ClockSetBack", testClockSetBack},
		{"InputsWhileWriting", testInputsWhileWriting},
		{"Growing", testGrowing},
		{"GrowsInOrder", testGrowsInOrder},
		{"GrowsWithinADay", testGrowsWithinADay},
		{"InputsWhileGrowing", testInputsWhileGrowing},
		{"Snapshots", testSnapshots},
		{"Documents", testDocuments},
		{"DocumentsAtOnce", testDocumentsAtOnce},
		{"History", testHistory},
		{"Closed", testClosed},
		{"LikeMemory", testLikeMemory},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, maker) })
	}
}
