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
	Reopened(t, maker)
	run(t, maker, []promise{
		{"EntriesAtOnce", testEntriesAtOnce},
		{"AllOrNone", testAllOrNone},
		{"Wait", testWait},
		{"InputsWhileWriting", testInputsWhileWriting},
		{"GrowsInOrder", testGrowsInOrder},
		{"InputsWhileGrowing", testInputsWhileGrowing},
		{"DocumentsAtOnce", testDocumentsAtOnce},
		{"Closed", testClosed},
	})
}

// Reopened is Run for another way to open a record again: it leaves out the promises that
// are about a record which stays open.
func Reopened(t *testing.T, maker Maker) {
	run(t, maker, []promise{
		{"Entries", testEntries},
		{"Inputs", testInputs},
		{"Repeated", testRepeated},
		{"OrdinalsAscend", testOrdinalsAscend},
		{"ReadingsByTime", testReadingsByTime},
		{"ClockSetBack", testClockSetBack},
		{"Growing", testGrowing},
		{"GrowsWithinADay", testGrowsWithinADay},
		{"Snapshots", testSnapshots},
		{"Documents", testDocuments},
		{"History", testHistory},
		{"LikeMemory", testLikeMemory},
	})
}

type promise struct {
	name string
	test func(*testing.T, Maker)
}

func run(t *testing.T, maker Maker, promises []promise) {
	for _, p := range promises {
		t.Run(p.name, func(t *testing.T) { p.test(t, maker) })
	}
}
