package figures

import (
	_ "embed" // for the lists
	"fmt"
	"slices"
	"strings"
	"sync"
)

//go:embed defaults.tsv
var defaults string

//go:embed numbers.tsv
var numbers string

//go:embed options.tsv
var options string

//go:embed published.tsv
var published string

// A Mark says how far a source is to be believed.
type Mark string

// The marks, which the package comment explains.
const (
	Standard   Mark = "standard"
	Published  Mark = "published"
	FromMemory Mark = "from memory"
	Measured   Mark = "measured here"
	Arithmetic Mark = "arithmetic"
	Common     Mark = "common practice"
	Ours       Mark = "ours"
)

// Marks lists them.
func Marks() []Mark {
	return []Mark{Standard, Published, FromMemory, Measured, Arithmetic, Common, Ours}
}

// A Figure is one line of the list.
type Figure struct {
	Part   string `json:"part"` // the heading that it stands under
	Name   string `json:"name"`
	Value  string `json:"value"` // with its unit where it has one
	For    string `json:"for"`
	Mark   Mark   `json:"mark"`
	Source string `json:"source"` // says by itself what the mark says, but for what was read or worked out
}

// Defaults lists the defaults of the configuration, in its order.
func Defaults() []Figure { return lists().defaults }

// Numbers lists the numbers in the program.
func Numbers() []Figure { return lists().numbers }

// Options lists the numbers that options of commands have by default.
func Options() []Figure { return lists().options }

// Others lists what others have published as a whole.
func Others() []Figure { return lists().others }

// All lists every figure.
func All() []Figure {
	l := lists()
	return slices.Concat(l.defaults, l.options, l.numbers, l.others)
}

// Default returns the default of a setting, by its path in the configuration; the zero
// Figure if there is none.
func Default(name string) Figure { return lists().named[name] }

type whole struct {
	defaults, options, numbers, others []Figure
	named                              map[string]Figure // defaults
}

var lists = sync.OnceValue(func() *whole {
	l := &whole{named: map[string]Figure{}}
	for _, of := range []struct {
		file, text string
		list       *[]Figure
	}{{"defaults.tsv", defaults, &l.defaults}, {"options.tsv", options, &l.options}, {"numbers.tsv", numbers, &l.numbers}, {"published.tsv", published, &l.others}} {
		list, err := read(of.text)
		if err != nil {
			panic("figures: " + of.file + " is a mistake in this program: " + err.Error())
		}
		*of.list = list
	}
	for _, f := range l.defaults {
		l.named[f.Name] = f
	}
	return l
})

// read takes a list apart.
func read(text string) (list []Figure, err error) {
	part := ""
	for i, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		if heading, ok := strings.CutPrefix(line, "# "); ok {
			part = heading
			continue
		}
		cells := strings.Split(line, "\t")
		if len(cells) != 5 {
			return nil, fmt.Errorf("line %d has %d parts, not 5", i+1, len(cells))
		}
		list = append(list, Figure{part, cells[0], cells[1], cells[2], Mark(cells[3]), cells[4]})
	}
	return list, nil
}

// OfRule returns the default of a key of a kind of rule.
func OfRule(kind, key string) Figure {
	if f := Default("rules." + kind + "." + key); f.Name != "" {
		return f
	}
	return Default("rules." + key + "@" + kind)
}

// From says where the figure is from and how far that is to be believed.
func (f Figure) From() string {
	switch f.Mark {
	case Ours, Common, FromMemory: // the source says so
		return f.Source
	}
	return string(f.Mark) + ": " + f.Source
}
