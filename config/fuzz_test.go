package config

import (
	"bytes"
	"path/filepath"
	"testing"
)

// Any bytes either give a configuration whose plan can be used, or problems
// that are sorted, on the file's lines and not empty; never both, and never a
// panic.
func FuzzConfig(f *testing.F) {
	for _, glob := range []string{"testdata/*.yaml", "testdata/bad/*.yaml"} {
		names, err := filepath.Glob(glob)
		if err != nil || len(names) == 0 {
			f.Fatalf("%s: no seeds: %v", glob, err)
		}
		for _, name := range names {
			f.Add(readFile(f, name))
		}
	}
	f.Add([]byte("a: &a [*a]"))
	f.Add([]byte("bridges: &b [{id: x, sources: *b}]"))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, into := range []string{string(b), "places:\n  - id: bed-4\n    mat:\n      rows: 2\nrules:\n  - id: a\n"} {
			_, _ = Put(into, string(b), "bed-4") // why not is for a person to read
			_, _ = Put(string(b), "rules:\n  - {id: a}\n", "")
			_, _ = Put(string(b), "regions:\n  - {id: a}\n", "bed-4")
		}
		c, problems := Parse("x.yaml", b)
		if (c == nil) == (len(problems) == 0) {
			t.Fatalf("config %v with %d problems", c, len(problems))
		}
		lines := 1 + bytes.Count(b, []byte("\n")) + bytes.Count(b, []byte("\r")) + bytes.Count(b, []byte("\u2028")) +
			bytes.Count(b, []byte("\u2029")) + bytes.Count(b, []byte("\u0085"))
		for i, p := range problems {
			if p.Message == "" || p.Line < 1 || p.Column < 1 || p.Line > lines {
				t.Fatalf("problem %q of a file with %d lines", p, lines)
			}
			if i > 0 {
				if before := problems[i-1]; before.Line > p.Line || before.Line == p.Line && before.Column > p.Column {
					t.Fatalf("%q comes before %q", before, p)
				}
			}
		}
		if c == nil {
			return
		}
		if found := c.Plan().Check(); len(found) > 0 {
			t.Fatalf("the plan of a good file has problems: %v", found)
		}
		for _, b := range c.Bridges {
			if b.Delimited == nil {
				continue
			}
			if found := b.Delimited.Check(); len(found) > 0 {
				t.Fatalf("the columns of a good file have problems: %v", found)
			}
		}
		if len(c.Plan().Places) != len(c.Places) {
			t.Fatal("the plan has other places than the file")
		}
	})
}
