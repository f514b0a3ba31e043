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

func readMakefile(t *testing.T) []byte {
	t.Helper()
	b, err := os.ReadFile(root + "/Makefile")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The Makefile names packages that are tested without the race detector, as
// nothing runs beside anything else there. That stays true: neither their code
// nor their tests start a goroutine or run in parallel, nor does what they use of
// the project.
func TestCalmPackagesAreCalm(t *testing.T) {
	makefile := readMakefile(t)
	named := regexp.MustCompile(`(?m)^CALM +:= ((?:.*\\\n)*.*)`).FindSubmatch(makefile)
	if named == nil {
		t.Fatal("the Makefile has no line CALM := packages")
	}
	list := func(args ...string) (lines [][]string) {
		t.Helper()
		cmd := exec.Command("go", append([]string{"list"}, args...)...)
		cmd.Dir, cmd.Stderr = root, os.Stderr
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(out)) {
			lines = append(lines, strings.Split(strings.TrimSuffix(line, "\n"), "\t"))
		}
		return lines
	}
	type parts struct{ dir, code, tests string }
	all := map[string]parts{}
	for _, p := range list("-f", "{{.ImportPath}}\t{{.Dir}}\t{{join .GoFiles `,`}}\t{{join .TestGoFiles `,`}},{{join .XTestGoFiles `,`}}", "weald/...") {
		all[p[0]] = parts{p[1], p[2], p[3]}
	}
	calm := list(strings.Fields(strings.ReplaceAll(string(named[1]), "\\\n", " "))...)
	if len(calm) < 30 {
		t.Errorf("looked at %d packages only", len(calm))
	}
	patterns := make([]string, len(calm))
	for i, p := range calm {
		patterns[i] = p[0]
		for _, why := range stirs(t, all[p[0]].dir, all[p[0]].code+","+all[p[0]].tests) {
			t.Errorf("%s is tested without the race detector and %s", p[0], why)
		}
	}
	below := list(append([]string{"-test", "-f", "{{.ImportPath}}\t{{join .Deps `,`}}"}, patterns...)...)
	checked := 0
	for _, p := range below {
		of, isTest := strings.CutSuffix(p[0], ".test")
		if !isTest {
			continue
		}
		checked++
		for dep := range strings.SplitSeq(p[1], ",") {
			dep, _, _ = strings.Cut(dep, " [") // as compiled for that test
			for _, why := range stirs(t, all[dep].dir, all[dep].code) {
				t.Errorf("%s is tested without the race detector and uses %s, which %s", of, dep, why)
			}
		}
	}
	if checked < 30 {
		t.Errorf("looked at the tests of %d packages only", checked)
	}
}

// stirs says what in the files of a folder runs beside something else.
func stirs(t *testing.T, dir, files string) (whys []string) {
	t.Helper()
	forbidden := []string{`"net/http"`, `"golang.org/x/sync/errgroup"`}
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
