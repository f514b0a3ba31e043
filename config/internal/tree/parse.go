package tree

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"go.yaml.in/yaml/v4"
)

// MaxBytes is the longest document that is read. A ward of hundreds of mats
// needs a tenth of it.
const MaxBytes = 4 << 20

// maxValues bounds the values that are visited, so that aliases of aliases
// cannot make a short file long.
const maxValues = 1 << 20

// A Doc is one YAML document and what is wrong with it.
type Doc struct {
	root     *yaml.Node
	problems []Problem
	faulty   map[string]bool // by Path.String: it or something inside it has a problem
	values   int             // visited so far
}

// Parse reads the one document in b. What is wrong with the YAML itself is
// among the Doc's problems, and then OK is false and there is nothing to
// decode.
func Parse(b []byte) (d *Doc, ok bool) {
	d = &Doc{root: &yaml.Node{Line: 1, Column: 1}, faulty: map[string]bool{}}
	if len(b) > MaxBytes {
		d.report(1, 1, nil, "the file has %d bytes: give one of at most %d", len(b), MaxBytes)
		return d, false
	}
	load, err := yaml.NewLoader(bytes.NewReader(b))
	if err != nil {
		d.report(1, 1, nil, "the file cannot be read as YAML: %v", err)
		return d, false
	}
	var doc yaml.Node
	switch err := load.Load(&doc); {
	case errors.Is(err, io.EOF), err == nil && isEmpty(&doc):
		d.report(1, 1, nil, "the file is empty: give at least bridges and places")
		return d, false
	case err != nil:
		d.syntax(b, err)
		return d, false
	}
	d.root = doc.Content[0]

	var second yaml.Node
	switch err := load.Load(&second); {
	case errors.Is(err, io.EOF):
	case err != nil:
		d.syntax(b, err)
	default:
		d.report(second.Line, second.Column, Path{"---"},
			"a second document begins here: keep everything in one document, without ---")
	}
	return d, true
}

func isEmpty(doc *yaml.Node) bool {
	return len(doc.Content) == 0 ||
		doc.Content[0].Kind == yaml.ScalarNode && doc.Content[0].Tag == "!!null"
}

// plainer says in other words what the YAML parser means, for the mistakes
// that people make most. Where something does not end, its beginning is the
// place to look at.
var plainer = []struct {
	says, means string
	begin       bool
}{
	{"did not find expected key", "a key was expected here: give each key of one mapping the same indent, and quote text after which more follows", false},
	{"mapping values are not allowed in this context", "a second colon in one line: put text that holds a colon in quotes", false},
	{"could not find expected ':'", "a colon is missing after a key: write key: value", true},
	{"found character that cannot start any token", "this character cannot begin a value: indent with spaces, not tabs, and put text with special characters in quotes", false},
	{"did not find expected ',' or ']'", "a list that was opened with [ does not end: close it with ]", true},
	{"did not find expected ',' or '}'", "a mapping that was opened with { does not end: close it with }", true},
	{"found unexpected end of stream", "text that was opened with a quote does not end: close the quote", true},
	{"did not find expected '-' indicator", "a list goes on with something that is not a member: begin each with - at the same indent", false},
	{"block sequence entries are not allowed", "a list cannot begin here: begin it on a line of its own", false},
	{"did not find expected node content", "a value is missing here: close every [ and { and give each - and each comma something", false},
	{"unknown anchor", "the alias has no anchor of that name before it: define it with & first", false},
}

func (d *Doc) syntax(b []byte, err error) {
	e, ok := errors.AsType[*yaml.LoadError](err)
	if !ok {
		d.report(1, 1, Path{"---"}, "the file is not YAML: %v", err)
		return
	}
	line, column := e.Mark.Line, e.Mark.Column
	if line == 0 { // the reader of characters gives no place
		line, column = badCharacter(b)
	}
	text, began := "not YAML: "+e.Message, e.ContextMark
	for _, p := range plainer {
		if !strings.Contains(e.Message, p.says) {
			continue
		}
		text = p.means
		if p.begin && began.Line > 0 {
			line, column = began.Line, began.Column
		}
		break
	}
	if began.Line > 0 && began.Line != line {
		text += fmt.Sprintf(" (it began on line %d)", began.Line)
	}
	if last := lastLine(b); line > last { // a mistake of the end
		line, column = last, 1
	}
	d.report(line, column, Path{"---"}, "%s", text)
}

// lastLine returns the number of the last line that holds something.
func lastLine(b []byte) int {
	return 1 + bytes.Count(bytes.TrimRight(b, "\n"), []byte("\n"))
}

// badCharacter finds the first byte of b that YAML cannot hold.
func badCharacter(b []byte) (line, column int) {
	line, column = 1, 1
	for _, r := range string(b) {
		switch {
		case r == '\n':
			line, column = line+1, 1
			continue
		case r < ' ' && r != '\t' && r != '\r', r == 0x7f, r == '\uFFFD':
			return line, column
		}
		column++
	}
	return 1, 1
}
