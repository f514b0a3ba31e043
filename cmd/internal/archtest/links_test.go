package archtest

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// What a document leads to is there, down to the heading; and every picture that the
// stories make for the README is in it.
func TestLinksLeadSomewhere(t *testing.T) {
	slug := func(heading string) string {
		return strings.Trim(regexp.MustCompile(`[^\pL\pN]+`).ReplaceAllString(strings.ToLower(heading), "-"), "-")
	}
	links, linked := 0, map[string]bool{}
	for _, document := range []string{"README.md", "DEVELOPERS.md", ".changes.md"} {
		b, err := os.ReadFile(filepath.Join(root, document))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(string(b), -1) {
			path, part, _ := strings.Cut(m[1], "#")
			if strings.Contains(m[1], ":") || path == "" {
				continue
			}
			links++
			linked[path] = true
			text, err := os.ReadFile(filepath.Join(root, filepath.Dir(document), path))
			if err != nil {
				t.Errorf("%s: %v", document, err)
				continue
			}
			headings := regexp.MustCompile(`(?m)^#+ (.*)$`).FindAllStringSubmatch(string(text), -1)
			if part != "" && !slices.ContainsFunc(headings, func(h []string) bool { return slug(h[1]) == part }) {
				t.Errorf("%s: %s has no heading #%s", document, path, part)
			}
		}
	}
	if links < 15 {
		t.Errorf("looked at %d links only", links)
	}
	pictures, err := filepath.Glob(filepath.Join(root, "webui/e2e/shots/*"))
	if err != nil || len(pictures) < 3 {
		t.Errorf("there are the pictures %v: %v", pictures, err)
	}
	for _, p := range pictures {
		if name := filepath.ToSlash(strings.TrimPrefix(p, root+"/")); !linked[name] {
			t.Errorf("nobody shows %s", name)
		}
	}
}
