package journaltest

import (
	"testing"

	"weald/stream/journal"
)

func TestMemory(t *testing.T) {
	Run(t, func(testing.TB) func() journal.Journal {
		m := &Memory{}
		return m.Open
	})
}
