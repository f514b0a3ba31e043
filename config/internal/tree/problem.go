package tree

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// A Problem is one thing that is wrong with a document.
type Problem struct {
	Line, Column int // from 1; column in characters
	Message      string
}

// Report adds a problem with the value at path, which need not exist: the
// nearest value around it is pointed at.
//
// Nothing is added where a problem of that value or of something inside it is
// known already, because a second one would only be its consequence. So the
// order of reporting is the order of cause.
func (d *Doc) Report(path Path, format string, args ...any) {
	n := d.find(path)
	d.report(n.Line, n.Column, path, format, args...)
}

func (d *Doc) report(line, column int, path Path, format string, args ...any) {
	if d.faulty[path.String()] {
		return
	}
	for i := range len(path) + 1 {
		d.faulty[path[:i].String()] = true
	}
	d.problems = append(d.problems, Problem{line, column, fmt.Sprintf(format, args...)})
}

// Faulty reports whether a problem is known of the value at path or of
// something inside it.
func (d *Doc) Faulty(path Path) bool { return d.faulty[path.String()] }

// Problems returns what was found so far, sorted by place.
func (d *Doc) Problems() []Problem {
	slices.SortStableFunc(d.problems, func(a, b Problem) int {
		if c := a.Line - b.Line; c != 0 {
			return c
		}
		if c := a.Column - b.Column; c != 0 {
			return c
		}
		return strings.Compare(a.Message, b.Message)
	})
	return d.problems
}

// Has reports whether the document has a value at path.
func (d *Doc) Has(path Path) bool {
	_, ok := d.walk(path)
	return ok
}

// Line returns the line of the value at path or of what is around it.
func (d *Doc) Line(path Path) int { return d.find(path).Line }

func (d *Doc) find(path Path) *yaml.Node {
	n, _ := d.walk(path)
	return n
}

// walk follows path as far as the document goes and reports whether that was
// all the way. A position in a list that was written without a list (one
// member alone) leads to that member.
func (d *Doc) walk(path Path) (*yaml.Node, bool) {
	n := d.root
	for _, e := range path {
		next := step(target(n), e)
		if next == nil {
			return n, false
		}
		n = next
	}
	return n, true
}

func step(n *yaml.Node, elem any) *yaml.Node {
	switch e := elem.(type) {
	case int:
		switch {
		case n.Kind == yaml.MappingNode && e == 0:
			return n
		case n.Kind == yaml.SequenceNode && 0 <= e && e < len(n.Content):
			return n.Content[e]
		}
	case string:
		if n.Kind != yaml.MappingNode {
			return nil
		}
		for i := 0; i+1 < len(n.Content); i += 2 {
			if k := n.Content[i]; k.Kind == yaml.ScalarNode && k.Value == e {
				return n.Content[i+1]
			}
		}
	}
	return nil
}

// target follows an alias to the value that it stands for.
func target(n *yaml.Node) *yaml.Node {
	for n.Kind == yaml.AliasNode && n.Alias != nil {
		n = n.Alias
	}
	return n
}
