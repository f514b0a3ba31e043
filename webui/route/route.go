package route

import (
	"strings"

	"weald/stream/access"
)

// A Kind is what the audit calls what was done, in one word. None is not worth a line:
// it shows nothing of anybody.
type Kind string

// The kinds.
const (
	None      Kind = ""
	See       Kind = "see"       // the present, or what was
	Log       Kind = "log-in"    // and log-out
	Act       Kind = "act"       // with an alert
	Note      Kind = "note"      // marks, sessions, tries
	Calibrate Kind = "calibrate" // and zero, and check
	Rehearse  Kind = "rehearse"  // and propose
	Configure Kind = "configure"
	Export    Kind = "export" // what leaves as a file
	Report    Kind = "report" // what leaves on paper
	Link      Kind = "link"   // to seats and for screens
	Account   Kind = "account"
	Erase     Kind = "erase" // a person out of the record
)

// A Route is one thing that can be asked for.
type Route struct {
	ID     string // the operation's in the OpenAPI document
	Method string
	Path   string // with {names}, as the mux and OpenAPI write them
	Least  access.Role
	Audit  Kind
}

// Pattern is the route as net/http's mux writes it.
func (r *Route) Pattern() string { return r.Method + " " + r.Path }

// Names are those in the path, in its order.
func (r *Route) Names() (names []string) {
	for part := range strings.SplitSeq(r.Path, "/") {
		if name, ok := strings.CutPrefix(part, "{"); ok {
			name, _, _ = strings.Cut(name, "}")
			names = append(names, strings.TrimSuffix(name, "..."))
		}
	}
	return names
}

// Of returns the route with an id; nil if there is none.
func Of(id string) *Route { return find(func(r *Route) bool { return r.ID == id }) }

// At returns the route of a pattern; nil if there is none.
func At(pattern string) *Route { return find(func(r *Route) bool { return r.Pattern() == pattern }) }

func find(is func(*Route) bool) *Route {
	for i := range All {
		if is(&All[i]) {
			return &All[i]
		}
	}
	return nil
}
