package tree

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// A Path leads from the root of a document to a value: strings are keys, ints
// are positions in a list, from 0.
type Path []any

// With returns the path that goes on by the given elements. The receiver is
// not changed, and the result shares no memory that could be appended to.
func (p Path) With(elems ...any) Path { return append(slices.Clip(p), elems...) }

// String writes p as rules[2].limit.watch.
func (p Path) String() string {
	var b strings.Builder
	for _, e := range p {
		switch e := e.(type) {
		case int:
			b.WriteString("[" + strconv.Itoa(e) + "]")
		default:
			if b.Len() > 0 {
				b.WriteByte('.')
			}
			fmt.Fprint(&b, e)
		}
	}
	return b.String()
}

// Name is what a message calls the value at p: its key, and for a member of a
// list which one, counted from 1 as people do.
func (p Path) Name() string {
	for i, e := range slices.Backward(p) {
		key, ok := e.(string)
		if !ok {
			continue
		}
		var b strings.Builder
		b.WriteString(key)
		for _, n := range p[i+1:] {
			fmt.Fprintf(&b, " item %d", n.(int)+1)
		}
		return b.String()
	}
	return "the file"
}
