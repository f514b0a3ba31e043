package alert

import (
	"slices"
	"time"
)

// A State is one state in the life of an alert. The names are written to disk
// and to the HTTP interface.
type State string

// The states.
const (
	Normal         State = "normal"
	Unacknowledged State = "unacknowledged"
	Acknowledged   State = "acknowledged"
	Returned       State = "returned-unacknowledged" // it is over, and nobody has acknowledged it
	Latched        State = "latched"                 // the same, and it is shown until somebody does
	Shelved        State = "shelved"                 // put aside by a person until an instant
	Suppressed     State = "suppressed"              // put aside by design: there is nobody to be judged
	OutOfService   State = "out-of-service"          // put aside by a person until a person takes it back
)

// States lists all states.
func States() []State {
	return []State{Normal, Unacknowledged, Acknowledged, Returned, Latched, Shelved, Suppressed, OutOfService}
}

// Valid reports whether s is one of States.
func (s State) Valid() bool { return slices.Contains(States(), s) }

// Aside reports whether nobody is called in s, whatever is measured.
func (s State) Aside() bool { return s == Shelved || s == Suppressed || s == OutOfService }

// Open reports whether s asks for somebody: it stands, or it is latched.
func (s State) Open() bool { return s == Unacknowledged || s == Acknowledged || s == Latched }

// The bounds of a life, of which LongestShelf and the two of chattering are the
// specification's.
const (
	LongestShelf = 8 * time.Hour
	MostTiers    = 3

	ChatterMost = 3                // more raises than this within ChatterSpan is chattering
	ChatterSpan = 10 * time.Minute // the ends belong to it
)
