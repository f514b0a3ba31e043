package config_test

import (
	"strings"
	"testing"

	"weald/config"
)

const putInto = `# Ward Larch
data: record

places:
  # by the window
  - id: bed-4
    kind: bed
    mat:
      source: hub/mat
      rows: 4
      regions:
        - {id: back, rows: [0, 1], columns: [0, 1]}  # as drawn
      columns: 2

  - {id: bench-1, kind: wrap, sites: []}

# what to watch for
rules:
- id: tight
  limit: {watch: ankle.pressure, above: 60} # local policy
  on_delay: 30s

- id: last
  limit: {watch: calf.pressure, above: 30}
`

// A piece goes where it belongs, and nothing else of the file changes.
func TestPiecesArePutIntoTheFile(t *testing.T) {
	for _, c := range []struct{ name, piece, place, was, is string }{
		{"a place", "places:\n  - id: bench-2\n    kind: wrap\n", "", "  - {id: bench-1, kind: wrap, sites: []}\n", "  - {id: bench-1, kind: wrap, sites: []}\n  - id: bench-2\n    kind: wrap\n"},
		{"a rule that there is", "rules:\n    - id: tight\n      limit:\n        watch: ankle.pressure\n        above: 55\n", "", "- id: tight\n  limit: {watch: ankle.pressure, above: 60} # local policy\n  on_delay: 30s\n", "- id: tight\n  limit:\n    watch: ankle.pressure\n    above: 55\n"},
		{"a rule that there is not", "rules:\n  - {id: new, formula: x}\n", "", "  limit: {watch: calf.pressure, above: 30}\n", "  limit: {watch: calf.pressure, above: 30}\n- {id: new, formula: x}\n"},
		{"regions", "regions:\n  - {id: heels, rows: [3, 3], columns: [0, 1]}\n", "bed-4", "      regions:\n        - {id: back, rows: [0, 1], columns: [0, 1]}  # as drawn\n", "      regions:\n        - {id: heels, rows: [3, 3], columns: [0, 1]}\n"},
	} {
		got, err := config.Put(putInto, c.piece, c.place)
		if want := strings.Replace(putInto, c.was, c.is, 1); err != nil || got != want || want == putInto {
			t.Errorf("%s: %v\n%s", c.name, err, got)
		}
	}
	if got, err := config.Put("data: record\nrules: []\n", "rules:\n  - {id: new}\n", ""); err != nil || got != "data: record\nrules:\n  - {id: new}\n" {
		t.Errorf("into an empty list: %v\n%s", err, got)
	}
	if got, err := config.Put("data: record\n", "places:\n  - {id: new}\n", ""); err != nil || got != "data: record\nplaces:\n  - {id: new}\n" {
		t.Errorf("into a file without a list: %v\n%s", err, got)
	}
	for name, c := range map[string][3]string{
		"brackets":            {"rules: [{id: a}]\n", "rules:\n  - {id: b}\n", ""},
		"no such place":       {putInto, "regions:\n  - {id: b}\n", "bed-5"},
		"a mat in brackets":   {"places:\n  - {id: a, mat: {rows: 2}}\n", "regions:\n  - {id: b}\n", "a"},
		"something else":      {putInto, "web: {listen: here}\n", ""},
		"a piece in brackets": {putInto, "rules: [{id: b}]\n", ""},
		"a lonely dash":       {"rules:\n  -\n    id: a-b\n", "rules:\n  - {id: b}\n", ""},
		"no YAML":             {"a: [", "rules:\n  - {id: b}\n", ""},
	} {
		if got, err := config.Put(c[0], c[1], c[2]); err == nil {
			t.Errorf("%s: %s", name, got)
		}
	}
}
