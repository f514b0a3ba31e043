package config

import (
	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
)

// WithRules returns the plan of c with the rules of another file in the place of
// its own: those of a whole configuration, or a piece that has nothing but
// `rules:`. Of bridges and places the file's own count for nothing. A file without
// the key `rules` is a problem; one whose list is empty asks for none.
func (c *Config) WithRules(name string, b []byte) (*rules.Plan, Problems) {
	d, ok := tree.Parse(b)
	if !ok {
		return nil, problems(name, d)
	}
	r := reader{doc: d}
	d.Decode(&r.file)
	r.plan.Sources, r.plan.Places = c.plan.Sources, c.plan.Places
	r.file.Places = nil
	for i := range c.Places {
		p := &c.Places[i]
		r.file.Places = append(r.file.Places, shape.Place{ID: shape.ID(p.ID), Kind: string(p.Kind)})
	}
	r.rules()
	r.check()
	found := problems(name, d)
	if len(found) == 0 && !d.Has(tree.Path{"rules"}) {
		found = Problems{{name, 1, 1, "there are no rules in the file: give rules"}}
	}
	if len(found) > 0 {
		return nil, found
	}
	return &r.plan, nil
}

// LoadRules is WithRules for the file at path. One that cannot be read is a
// problem without a place.
func (c *Config) LoadRules(path string) (*rules.Plan, Problems) {
	b, unread := contents(path)
	if unread != nil {
		return nil, unread
	}
	return c.WithRules(path, b)
}
