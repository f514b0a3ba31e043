package config

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestOtherRulesForTheSamePlaces(t *testing.T) {
	text, err := os.ReadFile("testdata/kinds.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c, problems := Parse("ward.yaml", text)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	for name, piece := range map[string]string{
		"a whole configuration": string(text),
		"nothing but rules":     string(text)[strings.Index(string(text), "\nrules:"):],
	} {
		plan, problems := c.WithRules("other.yaml", []byte(piece))
		if len(problems) > 0 {
			t.Errorf("%s: %v", name, problems)
			continue
		}
		if d := cmp.Diff(c.Plan(), plan); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	for piece, want := range map[string]string{
		"rules:\n  - {id: a, at: {place: bench-9}, limit: {watch: ankle.pressure, above: 3}, priority: low}": `there is no place "bench-9"`,
		"rules:\n  - {id: a, limit: {watch: soul.pressure, above: 3}, priority: low}":                        `soul`,
		"rules:\n  - {id: a, limit: {watch: ankle.pressure, above: 3}, priority: loud}":                      `priority`,
		"data: here": "there are no rules in the file",
		"":           "the file is empty",
	} {
		if _, problems := c.WithRules("other.yaml", []byte(piece)); !strings.Contains(problems.Error(), want) || !strings.Contains(problems.Error(), "other.yaml:") {
			t.Errorf("%s: %v, want %s", piece, problems, want)
		}
	}
	if plan, problems := c.WithRules("other.yaml", []byte("rules: []")); len(problems) > 0 || len(plan.Rules) != 0 {
		t.Errorf("no rules at all: %v", problems)
	}
	if _, problems := c.LoadRules("testdata/missing.yaml"); len(problems) != 1 {
		t.Errorf("a file that is not there: %v", problems)
	}
}
