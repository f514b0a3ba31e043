package turning

import "time"

// Settings are what a user can set.
type Settings struct {
	// Settle is how long a new position must last to count as one; more than 0.
	Settle time.Duration

	// Least is the load in N, above what bedding makes, of somebody who is in
	// the bed; they are gone at half of it.
	Least float64
}

// The settings where nothing else is said.
const (
	DefaultSettle = 30 * time.Second // common practice, no source
	DefaultLeast  = 100              // about 10 kg; common practice, no source
)

// beat is how often the picture is looked at: people do not turn faster, and a
// mat that delivers ten maps a second costs a tenth of what it could.
const beat = time.Second

// gone is how long a bed must be without load to be empty, and with it to be
// occupied: somebody who is lifted for a moment has not left.
const gone = 10 * time.Second

// What makes a pattern another one: see the package comment. The distances are
// those of posture.Distance.
const (
	same      = 0.06  // at most: the pattern that it was
	elsewhere = 0.30  // more: another pattern, whatever it is recognised as
	moved     = 200.0 // mm: another place on the bed
)
