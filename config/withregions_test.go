package config

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const bedFile = `
bridges:
  - id: hub
    link: {serial: {port: /dev/null}}
    format: packed
    sources: [{number: 0, id: mat, channels: 128, rate: 1, unit: mmHg}]
places:
  - id: bed-4
    kind: bed
    sites: [{id: elbow, channels: [hub/mat/0]}]
    mat:
      source: hub/mat
      rows: 16
      columns: 8
      %s
rules:
  - {id: hips, at: {place: bed-4}, limit: {watch: pelvis.peak, above: 60}, on_delay: 1h, priority: low}
`

func bedConfig(t *testing.T, regions string) *Config {
	t.Helper()
	c, found := Parse("weald.yaml", fmt.Appendf(nil, bedFile, regions))
	if len(found) > 0 {
		t.Fatal(found)
	}
	return c
}

// What is written is what the file itself can have under its mat, and is read as
// it was meant, whatever its names.
func TestRegionsTextIsWhatAFileCanHave(t *testing.T) {
	c := bedConfig(t, "head: last_row")
	want := []Region{{"pelvis", [2]int{6, 9}, [2]int{1, 6}}, {"null", [2]int{0, 0}, [2]int{7, 7}}}
	text := RegionsText(want, []string{"heaviest rows: of all", ""})
	if p, err := c.WithRegions("bed-4", []byte(text)); err != nil || len(p.Piece)+len(p.File) > 0 {
		t.Fatalf("%s: %v %v", text, p, err)
	}
	indented := strings.ReplaceAll(strings.TrimSpace(text), "\n", "\n      ")
	if d := cmp.Diff(want, bedConfig(t, indented).Places[0].Mat.Regions); d != "" {
		t.Error(d)
	}
}

func TestRegionsAreJudgedAsTheFileIs(t *testing.T) {
	c := bedConfig(t, "head: first_row")
	for _, k := range []struct{ piece, problem string }{
		{"regions:\n  - {id: pelvis, rows: [0, 16], columns: [0, 7]}\n", "regions:2:28: rows end at 16, which is not on the mat: its last is 15"},
		{"regions:\n  - {id: pelvis, rows: [3, 2], columns: [0, 7]}\n", "regions:2:24: rows are [3, 2]: give the first and then the last"},
		{"regions:\n  - {id: mat, rows: [3, 3], columns: [0, 7]}\n", `regions:2:10: id "mat" stands for all cells of a mat`},
		{"regions:\n  - {id: elbow, rows: [3, 3], columns: [0, 7]}\n", `regions:2:10: id "elbow" is the name of a site`},
		{"regions:\n  - {id: a, rows: [3, 3], columns: [0, 7]}\n  - {id: a, rows: [4, 4], columns: [0, 7]}\n", "regions:3:10:"},
		{"regions: []\n", "regions:1:10:"},
		{"places: []\n", `regions:1:1: `},
		{"regions:\n  - {id: heels, rows: [3, 3], columns: [0, 7]}\n", "configuration:17:51: nothing is called \"pelvis.peak\""},
	} {
		p, err := c.WithRegions("bed-4", []byte(k.piece))
		got := append(p.Piece, p.File...).Error()
		if err != nil || !strings.HasPrefix(got, k.problem) {
			t.Errorf("%s: got %q, %v, want %q", k.piece, got, err, k.problem)
		}
	}
	if _, err := c.WithRegions("bed-5", []byte("regions: []")); err == nil {
		t.Error("a place that is not there has regions")
	}
}
