package ingest

import (
	"reflect"
	"sync/atomic"
)

// A Layout is what a plan makes of a source's channels: that part of a Source which may
// change while its bridge goes on.
type Layout struct {
	Rows, Columns    int
	Together, Groups [][]int
	Number           int // names it: Condition.Layout is that of the one it was made by
}

// Lay gives the sources of a bridge that runs another layout, in their order, which
// each has from its next scan or examination on. One of which rows, columns or what
// lies together has changed learns anew which channels to believe. Any goroutine may
// call it.
func (s *Supervisor) Lay(layouts []Layout) {
	for i, source := range s.in.sources {
		source.next.Store(&layouts[i])
	}
}

// laying is how a source gets another layout.
type laying struct {
	next   atomic.Pointer[Layout] // nil: it has it
	number int
}

// relay takes up another layout, if there is one. It is for the supervisor's goroutine.
func (s *source) relay() {
	l := s.next.Swap(nil)
	if l == nil {
		return
	}
	spec := *s.spec
	spec.Rows, spec.Columns, spec.Together, spec.Groups = l.Rows, l.Columns, l.Together, l.Groups
	if spec.Rows != s.spec.Rows || spec.Columns != s.spec.Columns || !reflect.DeepEqual(spec.Together, s.spec.Together) {
		screen, err := NewScreen(&spec)
		if err != nil {
			return // a plan that was checked has no such layout; the former one goes on
		}
		s.screen = screen
	}
	s.spec, s.number = &spec, l.Number
}
