package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The Makefile names packages that are tested without the race detector, as
// nothing runs beside anything else there. That stays true: neither their code
// nor their tests start a goroutine, run in parallel, or guard anything against
// another goroutine; nor does what they use of the project start one.
func TestCalmPackagesAreCalm(t *testing.T) {
	makefile, err := os.ReadFile(root + "/Makefile")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?m)^CALM +:= ((?:.*\\\n)*.*)`).FindSubmatch(makefile)
	if named == nil {
		t.Fatal("the Makefile has no line CALM := packages")
	}
	const format = `{{.ImportPath}} {{.Dir}} {{join .GoFiles ","}} {{join .TestGoFiles ","}},{{join .XTestGoFiles ","}}`
	args := append([]string{"list", "-f", format}, strings.Fields(strings.ReplaceAll(string(named[1]), "\\\n", " "))...)
	list := exec.Command("go", args...)
	list.Dir, list.Stderr = root, os.Stderr
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := 0
	for line := range strings.Lines(string(out)) {
		packages++
		words := strings.Split(strings.TrimSpace(line), " ")
		path, dir, code, tests := words[0], words[1], words[2], words[3]
		for _, why := range stirs(t, dir, code+","+tests, true) {
			t.Errorf("%s is tested without the race detector and %s", path, why)
		}
		deps := exec.Command("go", "list", "-deps", "-test", "-f", `{{with .Module}}{{if .Main}}{{$.ImportPath}} {{$.Dir}} {{join $.GoFiles ","}}{{end}}{{end}}`, path)
		deps.Dir, deps.Stderr = root, os.Stderr
		below, err := deps.Output()
		if err != nil {
			t.Fatal(err)
		}
		for dep := range strings.Lines(string(below)) {
			words := strings.Split(strings.TrimSpace(dep), " ")
			if len(words) != 3 || strings.HasSuffix(words[0], ".test") {
				continue
			}
			for _, why := range stirs(t, words[1], words[2], false) {
				t.Errorf("%s is tested without the race detector and uses %s, which %s", path, words[0], why)
			}
		}
	}
	if packages < 30 {
		t.Errorf("looked at %d packages only", packages)
	}
}

// stirs says what in the files of a folder runs beside something else, or, if
// guards counts, expects to.
func stirs(t *testing.T, dir, files string, guards bool) (whys []string) {
	t.Helper()
	forbidden := []string{`"net/http"`, `"golang.org/x/sync/errgroup"`}
	if guards {
		forbidden = append(forbidden, `"sync"`, `"sync/atomic"`, `"net"`, `"testing/synctest"`)
	}
	for name := range strings.SplitSeq(files, ",") {
		if name == "" || !strings.HasSuffix(name, ".go") {
			continue
		}
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, dir+"/"+name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, imp := range f.Imports {
			if slices.Contains(forbidden, imp.Path.Value) {
				whys = append(whys, "imports "+imp.Path.Value+" in "+name)
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				whys = append(whys, "starts a goroutine at "+fset.Position(n.Pos()).String())
			case *ast.SelectorExpr:
				if slices.Contains([]string{"Parallel", "RunParallel", "AfterFunc"}, n.Sel.Name) {
					whys = append(whys, "has "+n.Sel.Name+" at "+fset.Position(n.Pos()).String())
				}
			}
			return true
		})
	}
	return whys
}
