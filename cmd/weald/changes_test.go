package main

import (
	"bytes"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The list of changes begins with this version, and keeps to the form that it names:
// versions by Semantic Versioning 2.0.0 (the expression is that of semver.org), each with
// the day of its release but the one that is being made, and the parts of Keep a Changelog
// 1.1.0.
func TestChangesAreThoseOfThisVersion(t *testing.T) {
	b, err := os.ReadFile("../../.changes.md")
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	if code := run(t.Context(), []string{"version"}, &said, &said); code != 0 {
		t.Fatalf("version ended with %d", code)
	}
	number := regexp.MustCompile(`^(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)(-[0-9A-Za-z.-]+)?$`)
	headings := regexp.MustCompile(`(?m)^## (\S+)(?: - (\d{4}-\d{2}-\d{2}))?$`).FindAllStringSubmatch(string(b), -1)
	if len(headings) == 0 || headings[0][1] != version || !strings.HasPrefix(said.String(), "weald "+version) {
		t.Fatalf("the newest of the changes is %v, and the program %s", headings, said.String())
	}
	for i, h := range headings {
		if !number.MatchString(h[1]) {
			t.Errorf("%q is no version", h[1])
		}
		if pending := strings.Contains(h[1], "-"); pending == (h[2] != "") || pending && i > 0 {
			t.Errorf("%s: a version that was released has its day, and only the newest may be without", h[1])
		}
	}
	if all := strings.Count(string(b), "\n## "); all != len(headings) {
		t.Errorf("%d of %d headings are versions", len(headings), all)
	}
	for _, part := range regexp.MustCompile(`(?m)^### (.*)$`).FindAllStringSubmatch(string(b), -1) {
		if !slices.Contains([]string{"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}, part[1]) {
			t.Errorf("%q is no part of a list of changes", part[1])
		}
	}
}
