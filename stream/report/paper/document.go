package paper

import (
	_ "embed"
	"html/template"
	"io"
	"regexp"
)

// A Document is a report made of the usual parts. All text in it is escaped;
// drawings come from this package.
type Document struct {
	Title    string
	Lead     []string // what matters most, in sentences
	Facts    []Fact
	Sections []Section
	Cautions []string // beside those of all pages
	Program  string   // name and version of what makes it
}

// A Section is a part of a Document with a heading; what is empty is left out.
type Section struct {
	Title    string
	Text     []string
	Facts    []Fact
	Drawings []Figure
	Table    *Table
	Notes    []string // below the table
}

// A Fact is one thing that is so.
type Fact struct{ Name, Value string }

// A Figure is a drawing with its caption.
type Figure struct {
	SVG     template.HTML
	Caption string
	Half    bool // it takes half of the page's width
}

// A Table has numbers, or, if it is Told, words.
type Table struct {
	Name  string // for those who hear it
	Told  bool
	Heads []string
	Rows  []Row
}

// A Row is one of a table; a Sum is of the others.
type Row struct {
	Cells []string
	Sum   bool
}

// Add adds a row.
func (t *Table) Add(cells ...string) { t.Rows = append(t.Rows, Row{Cells: cells}) }

//go:embed document.html
var document string

var page = New(document, template.FuncMap{"whole": whole})

var united = regexp.MustCompile(`(\d) (ms|s|min|h|d|%|mmHg)\b`)

// whole keeps a number and its unit on one line where a cell is narrow.
func whole(cell string) string { return united.ReplaceAllString(cell, "$1\u00a0$2") }

// Write writes the whole page.
func (d *Document) Write(w io.Writer) error { return page.Write(w, d.Title, d.Cautions, d.Program, d) }
