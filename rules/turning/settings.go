package turning

import "time"

// Settings are what a user can set.
type Settings struct {
	Settle      time.Duration // how long a new pattern must last; more than 0
	ForgetAfter time.Duration // how long a silence undoes what was known; 0 for any
}

// DefaultSettle is Settings.Settle where nothing else is said: who only
// stirs lies as before by then.
const DefaultSettle = 30 * time.Second

// beat is how often the picture is looked at: people do not turn faster, and a
// mat that delivers ten maps a second costs a twentieth of what it could.
const beat = 2 * time.Second

// What makes a pattern another one: see the package comment. The distances are
// those of posture.Distance.
const (
	same      = 0.06  // at most: the pattern that it was
	elsewhere = 0.30  // more: another pattern, whatever it is recognised as
	moved     = 200.0 // mm: another place on the bed
)
