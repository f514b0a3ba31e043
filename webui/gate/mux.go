package gate

import (
	"errors"
	"fmt"
	"net/http"

	"weald/webui/route"
)

// A Mux serves the routes of the table, each behind the gate, and nothing else.
type Mux struct {
	*http.ServeMux
	gate   *Gate
	served map[*route.Route]bool
	faults []error
}

// NewMux returns one that serves nothing yet.
func NewMux(g *Gate) *Mux {
	return &Mux{ServeMux: http.NewServeMux(), gate: g, served: map[*route.Route]bool{}}
}

// HandleFunc serves the route with a pattern.
func (m *Mux) HandleFunc(pattern string, f func(http.ResponseWriter, *http.Request)) {
	m.Handle(pattern, http.HandlerFunc(f))
}

// Handle is HandleFunc. What is not in the table is not served, and is told by Whole.
func (m *Mux) Handle(pattern string, h http.Handler) {
	of := route.At(pattern)
	if of == nil {
		m.faults = append(m.faults, fmt.Errorf("%s is not in the table of routes", pattern))
		return
	}
	m.served[of] = true
	m.ServeMux.Handle(pattern, m.gate.For(of, h))
}

// Elsewhere serves what no other route is for, of whatever method.
func (m *Mux) Elsewhere(pattern string, of *route.Route, h http.Handler) {
	m.served[of] = true
	m.ServeMux.Handle(pattern, m.gate.For(of, h))
}

// Whole returns an error if the table has routes that nobody serves, or something
// was served that it does not have.
func (m *Mux) Whole() error {
	faults := m.faults
	for i := range route.All {
		if of := &route.All[i]; !m.served[of] {
			faults = append(faults, fmt.Errorf("nobody serves %s", of.Pattern()))
		}
	}
	return errors.Join(faults...)
}
