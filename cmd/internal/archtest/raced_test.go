package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// What a test leaves to a run without the race detector is told in one: the Makefile
// names its package as one that is run so, or, of the daemon, whose package is run so in
// part, the test itself.
func TestWhatIsLeftToARunWithoutTheDetectorIsTold(t *testing.T) {
	makefile := readMakefile(t)
	list := func(name, between string) []string {
		t.Helper()
		line := regexp.MustCompile(`(?m)^` + name + ` := (.*)$`).FindSubmatch(makefile)
		if line == nil {
			t.Fatalf("the Makefile has no line %s :=", name)
		}
		return strings.Split(string(line[1]), between)
	}
	packages, ofDaemon := list("PLAIN", " "), list("PLAIN_TESTS", "|")
	var left []string // tests of the daemon
	elsewhere := 0
	sources(t, func(file, text string) {
		if !strings.HasSuffix(file, "_test.go") || !strings.Contains(text, "raced.") || strings.HasPrefix(file, "cmd/internal/archtest/") {
			return
		}
		if dir := path.Dir(file); dir != "cmd/weald" {
			if elsewhere++; !slices.Contains(packages, "./"+dir) {
				t.Errorf("%s leaves something to a run without the race detector, and PLAIN does not have ./%s", file, dir)
			}
			return
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, text, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && leaves(fn) {
				left = append(left, fn.Name.Name)
			}
		}
	})
	slices.Sort(left)
	slices.Sort(ofDaemon)
	if !slices.Equal(left, ofDaemon) {
		t.Errorf("tests of the daemon that leave themselves to a run without the race detector are\n%v\nand PLAIN_TESTS has\n%v", left, ofDaemon)
	}
	if elsewhere == 0 || len(left) == 0 {
		t.Error("found nothing: this test says nothing")
	}
}

// leaves reports whether a function asks if the race detector watches.
func leaves(fn *ast.FuncDecl) (found bool) {
	ast.Inspect(fn, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Name == "raced" {
				found = true
			}
		}
		return !found
	})
	return found
}
