package expr

import (
	"cmp"
	"fmt"
	"slices"
)

// A Problem is one thing that is wrong with an expression.
type Problem struct {
	Column  int    // in bytes from the start of the text, the first is 1
	Message string // what is wrong and what would be right
}

// Error returns the message with its column.
func (p Problem) Error() string { return fmt.Sprintf("column %d: %s", p.Column, p.Message) }

// maxProblems keeps hopeless texts from being answered at greater length than
// anybody reads.
const maxProblems = 20

// problems collects what is wrong. Its zero value is ready for use.
type problems struct{ list []Problem }

// add notes a problem at a byte offset.
func (ps *problems) add(at int, text string, args ...any) {
	if len(ps.list) < maxProblems {
		ps.list = append(ps.list, Problem{at + 1, fmt.Sprintf(text, args...)})
	}
}

// sorted returns the problems by column, those of one column as found.
func (ps *problems) sorted() []Problem {
	slices.SortStableFunc(ps.list, func(a, b Problem) int { return cmp.Compare(a.Column, b.Column) })
	return ps.list
}
