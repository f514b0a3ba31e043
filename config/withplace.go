package config

import (
	"fmt"
	"slices"
	"strings"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
)

// A NewPlace is a place that is to go into a file.
type NewPlace struct {
	ID, Kind string
	Sites    []NewSite
	Mat      *NewMat // nil for none
}

// A NewSite is a site of a new place, with its channels as bridge/source/number.
type NewSite struct {
	ID       string
	Channels []string
}

// A NewMat is the mat of a new place.
type NewMat struct {
	Source        string // bridge/source
	Rows, Columns int
	PitchMM       *[2]float64 // nil if not known
	Head          Edge
	FromBelow     bool
}

// Text writes the place as the file has it: a piece of YAML to put under
// `places:`.
func (p *NewPlace) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "places:\n  - id: %s\n    kind: %s\n", word(p.ID), word(p.Kind))
	if len(p.Sites) > 0 {
		b.WriteString("    sites:\n")
	}
	for _, s := range p.Sites {
		var channels []string
		for _, c := range s.Channels {
			channels = append(channels, word(c))
		}
		fmt.Fprintf(&b, "      - {id: %s, channels: [%s]}\n", word(s.ID), strings.Join(channels, ", "))
	}
	if m := p.Mat; m != nil {
		fmt.Fprintf(&b, "    mat: {source: %s, rows: %d, columns: %d", word(m.Source), m.Rows, m.Columns)
		if m.PitchMM != nil {
			fmt.Fprintf(&b, ", pitch_mm: [%g, %g]", m.PitchMM[0], m.PitchMM[1])
		}
		fmt.Fprintf(&b, ", head: %s", m.Head)
		if m.FromBelow {
			b.WriteString(", seen_from: below")
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// WithPlaces judges a piece of YAML that has nothing but `places:` as if its
// places stood behind those of the file, by the checks that the file itself goes
// through. What the file's rules would say against them is a problem of the file.
func (c *Config) WithPlaces(b []byte) Proposed {
	d, ok := tree.Parse(b)
	if !ok {
		return Proposed{Piece: problems("place", d)}
	}
	var piece struct {
		Places []shape.Place `yaml:"places" jsonschema:"required,minItems=1"`
	}
	r := reader{doc: d, sources: map[string]int{}}
	if file, ok := tree.Parse([]byte(c.Text)); ok {
		file.Decode(&r.file)
	}
	d.Decode(&piece)
	r.file.Places, r.file.Rules = piece.Places, nil
	r.plan.Sources = c.plan.Sources
	for i, s := range r.plan.Sources {
		r.sources[s.ID] = i
	}
	r.places()
	for i, p := range piece.Places {
		if slices.ContainsFunc(c.Places, func(q Place) bool { return q.ID == string(p.ID) }) {
			// No file of its own can show this problem: it is one of two texts together.
			d.Report(tree.Path{"places", i, "id"}, "%s", fmt.Sprintf("the file has a place %q already: give this one another name", p.ID))
		}
	}
	if found := problems("place", d); len(found) > 0 {
		return Proposed{Piece: found}
	}
	plan := *c.plan
	plan.Places = slices.Concat(plan.Places, r.plan.Places)
	return Proposed{File: c.problemsOf(&plan)}
}
