package config

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/ingest/frame"
)

// separators that have a name because they are hard to write.
var separators = map[string]string{"space": "space", `\t`: "\t", "tab": "\t"}

// delimited checks the description of a text file against itself and against
// the sources that it is for.
func (r *reader) delimited(b shape.Bridge, path tree.Path) *frame.Delimited {
	d := b.Delimited
	out := &frame.Delimited{HeaderLines: d.HeaderLines, Columns: d.Columns, Decimal: '.', Empty: []string{""}}
	out.Source.Column = -1
	if d.Decimal == "," {
		out.Decimal = ','
	}
	out.Separator = r.separator(d, path.With("separator"))
	if r.doc.Has(path.With("empty")) {
		out.Empty = nil
		for _, e := range d.Empty {
			out.Empty = append(out.Empty, string(e))
		}
	}
	uses := map[int]string{} // what each column is
	r.rowTime(out, d.Time, uses, path.With("time"))
	if d.Source != nil {
		r.rowSource(out, *d.Source, b.Sources, uses, path.With("source"))
	} else {
		r.onlySource(b.Sources, path.With("source"))
	}
	r.columns(out, d.Channels, uses, path.With("channels"))
	if last := slices.Max(append(slices.Collect(maps.Keys(uses)), -1)); d.Columns > 0 && last >= d.Columns {
		r.doc.Report(path.With("columns"), "columns is %d, but column %d is read: give at least %d, for columns count from 0", d.Columns, last, last+1)
	}
	for _, s := range b.Sources {
		if n := len(out.Channels); n != s.Channels && s.Channels > 0 {
			r.doc.Report(path.With("channels"), "channels names %d columns, but source %s has %d channels: name a column for each", n, s.ID, s.Channels)
		}
	}
	for _, p := range out.Check() {
		at := path
		for key := range strings.SplitSeq(p.Field, ".") {
			key, _, _ = strings.Cut(key, "[") // channels are numbered otherwise in the file
			at = at.With(key)
		}
		r.doc.Report(at, "%s", at.Name()+": "+p.Message)
	}
	return out
}

func (r *reader) separator(d *shape.Delimited, path tree.Path) string {
	if s, ok := separators[d.Separator]; ok {
		return s
	}
	c := []rune(d.Separator)
	switch {
	case len(c) != 1, c[0] == ' ', c[0] == '"', c[0] == '-', c[0] == '+', c[0] == '.', c[0] != '\t' && !unicode.IsPrint(c[0]), c[0] > 0x7e, unicode.IsLetter(c[0]), unicode.IsDigit(c[0]):
		r.doc.Report(path, `separator is %q: give one character such as "," or ";", \t for a tab, or space for a run of blanks`, d.Separator)
	case d.Separator == "," && d.Decimal == ",":
		r.doc.Report(path, "the comma is the separator and the decimal sign: give another separator, such as \";\"")
	}
	return d.Separator
}

// take notes what a column is, and reports one that is something already.
func (r *reader) take(uses map[int]string, column int, use string, path tree.Path) bool {
	if other, taken := uses[column]; taken {
		r.doc.Report(path, "column %d is %s already: give each column one use", column, other)
		return false
	}
	uses[column] = use
	return true
}

// columns expands the columns that are channels.
func (r *reader) columns(out *frame.Delimited, spans []shape.Range, uses map[int]string, path tree.Path) {
	for i, span := range spans {
		for c := span.First; c <= span.Last; c++ {
			if !r.take(uses, c, "a channel", path.With(i)) {
				break
			}
			out.Channels = append(out.Channels, c)
		}
	}
}

// onlySource checks the sources of a file whose rows do not name theirs.
func (r *reader) onlySource(sources []shape.Source, path tree.Path) {
	switch {
	case len(sources) > 1:
		r.doc.Report(path, "source is missing: with %d sources, say which column names that of a row", len(sources))
	case len(sources) == 1 && sources[0].Number != 0:
		r.doc.Report(path, "source is missing: without it every row is of source 0, but %s has number %d", sources[0].ID, sources[0].Number)
	}
}

func (r *reader) rowSource(out *frame.Delimited, s shape.RowSource, sources []shape.Source, uses map[int]string, path tree.Path) {
	r.take(uses, s.Column, "the source", path.With("column"))
	numbers := map[int]string{}
	for _, src := range sources {
		numbers[src.Number] = string(src.ID)
	}
	named := map[int]bool{}
	out.Source.Column, out.Source.Is = s.Column, map[string]uint16{}
	for _, word := range slices.Sorted(maps.Keys(s.Is)) {
		n := s.Is[word]
		if _, ok := numbers[n]; !ok {
			r.doc.Report(path.With("is", word), "there is no source with number %d on this bridge: give %s", n, numberList(numbers))
		}
		if strings.TrimSpace(word) != word {
			r.doc.Report(path.With("is", word), "%q has blanks around it, which are not part of a cell: leave them out", word)
		}
		named[n] = true
		out.Source.Is[word] = uint16(n)
	}
	for _, n := range slices.Sorted(maps.Keys(numbers)) {
		if !named[n] {
			r.doc.Report(path.With("is"), "no word stands for source %s, number %d: add one", numbers[n], n)
		}
	}
}

func numberList(numbers map[int]string) string {
	var words []string
	for _, n := range slices.Sorted(maps.Keys(numbers)) {
		words = append(words, fmt.Sprintf("%d (%s)", n, numbers[n]))
	}
	return tree.OneOf(words)
}
