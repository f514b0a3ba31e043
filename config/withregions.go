package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
)

// RegionsText writes regions as the file has them: a piece of YAML to put under a
// mat, in the place of `regions:` if it has that. A note may stand behind each;
// "" is none.
func RegionsText(regions []Region, notes []string) string {
	var b strings.Builder
	b.WriteString("regions:\n")
	for i, r := range regions {
		fmt.Fprintf(&b, "  - {id: %s, rows: [%d, %d], columns: [%d, %d]}", word(r.ID), r.Rows[0], r.Rows[1], r.Columns[0], r.Columns[1])
		if i < len(notes) && notes[i] != "" {
			b.WriteString(" # " + notes[i])
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// word writes a string as a scalar of YAML that stands within brackets.
func word(s string) string {
	out, err := yaml.Marshal([]string{s})
	if err != nil || strings.ContainsAny(s, ",[]{}\n") {
		return strconv.Quote(s)
	}
	return strings.TrimSpace(strings.TrimPrefix(string(out), "- "))
}

// Proposed are the problems of a piece that is to go into a file.
type Proposed struct {
	Piece Problems // by the lines of the piece
	File  Problems // by those of the file: what it says would no longer hold with the piece in it
}

// WithRegions judges a piece of YAML that has nothing but `regions:` as if it
// stood under the mat of a place of the file, by the checks that the file itself
// goes through. A rule that watches a region which would be gone is a problem of
// the file. It is an error if the file has no such place, or that has no mat.
func (c *Config) WithRegions(place string, b []byte) (Proposed, error) {
	i := slices.IndexFunc(c.Places, func(p Place) bool { return p.ID == place })
	if i < 0 || c.Places[i].Mat == nil {
		return Proposed{}, fmt.Errorf("the configuration has no place %q with a mat", place)
	}
	p := c.Places[i]
	d, ok := tree.Parse(b)
	if !ok {
		return Proposed{Piece: problems("regions", d)}, nil
	}
	var piece struct {
		Regions []shape.Region `yaml:"regions" jsonschema:"required,minItems=1"`
	}
	r := reader{doc: d}
	d.Decode(&piece)
	mat := *p.Mat
	mat.Regions = r.regions(shape.Mat{Rows: mat.Rows, Columns: mat.Columns, Regions: piece.Regions}, nil)
	for _, site := range p.Sites {
		if k := slices.IndexFunc(piece.Regions, func(region shape.Region) bool { return string(region.ID) == site.ID }); k >= 0 {
			r.shared(site.ID, mat.Regions, tree.Path{"regions", k, "id"})
		}
	}
	if found := problems("regions", d); len(found) > 0 {
		return Proposed{Piece: found}, nil
	}
	plan := *c.plan
	plan.Places = slices.Clone(plan.Places)
	plan.Places[i].Mat = mat.plan()
	return Proposed{File: c.problemsOf(&plan)}, nil
}

// problemsOf are those of a plan made of the file, by the file's lines.
func (c *Config) problemsOf(plan *rules.Plan) Problems {
	d, ok := tree.Parse([]byte(c.Text))
	if !ok {
		return problems("configuration", d)
	}
	for _, p := range plan.Check() {
		d.Report(tree.Path(p.Path), "%s", p.Message)
	}
	return problems("configuration", d)
}
