package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const root = "../../.."

// ranks puts every package into the order in which data flows through them. A
// package may import only packages of a lower rank. The longest prefix counts.
var ranks = map[string]int{
	"weald/ingest/sample":      0,
	"weald/ingest/raced":       0,
	"weald/ingest/recorded":    0,
	"weald/ingest/processor":   0,
	"weald/ingest/near":        0,
	"weald/ingest/tried":       0,
	"weald/ingest/frame":       1,
	"weald/ingest/clock":       1,
	"weald/ingest/calib":       1,
	"weald/rules/expr":         1,
	"weald/rules/hold":         1,
	"weald/rules/alert":        1,
	"weald/rules/matstat":      1,
	"weald/rules/posture":      1,
	"weald/rules/turning":      3,
	"weald/rules/outline":      2,
	"weald/rules/exposure":     2,
	"weald/rules/contrast":     2,
	"weald/rules/field":        2,
	"weald/rules/state":        1,
	"weald/rules/compression":  1,
	"weald/rules/attempt":      4,
	"weald/rules/trend":        2,
	"weald/rules/relief":       3,
	"weald/rules/limb":         3,
	"weald/ingest/assembly":    2,
	"weald/ingest/serialport":  2,
	"weald/ingest/capture":     1,
	"weald/ingest/filelink":    2,
	"weald/ingest/emulate":     2,
	"weald/ingest/health":      1,
	"weald/ingest/battery":     1,
	"weald/ingest/tcp/wire":    1,
	"weald/ingest/tcp":         2,
	"weald/ingest/mqtt":        2,
	"weald/ingest/ble":         2,
	"weald/rules":              4,
	"weald/rules/timeline":     5,
	"weald/ingest":             3,
	"weald/stream/hostclock":   5,
	"weald/stream/lag":         5,
	"weald/stream/ahead":       1,
	"weald/stream/calibrating": 5,
	"weald/stream/view":        5,
	"weald/stream/pipeline":    6,
	"weald/stream":             7,
	"weald/config":             8,
	"weald/webui":              9,
	"weald/cmd":                10,
}

func rank(pkg string) (string, int) {
	for p := pkg; p != "."; p = filepath.Dir(p) {
		if r, ok := ranks[p]; ok {
			return p, r
		}
	}
	return "", -1
}

func TestImportsRunOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "weald/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := 0
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		from := words[0]
		group, rankFrom := rank(from)
		if rankFrom < 0 {
			t.Errorf("%s has no place in the order of packages", from)
		}
		packages++
		for _, imp := range words[1:] {
			if !strings.HasPrefix(imp, "weald/") {
				continue
			}
			to, rankTo := rank(imp)
			// Within one group of packages (stream/…, webui/…, cmd/…) the parts
			// may use each other; Go itself forbids cycles.
			if rankTo >= rankFrom && to != group {
				t.Errorf("%s imports %s, which is not below it", from, imp)
			}
		}
	}
	if packages < 15 {
		t.Errorf("looked at %d packages only", packages)
	}
}

// sources calls f with every Go file of the tree.
func sources(t *testing.T, f func(path, text string)) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "node_modules" || d.Name() == ".git" || d.Name() == "dist" || d.Name() == "bin"):
			return filepath.SkipDir
		case d.IsDir() || !slices.Contains([]string{".go", ".ts", ".svelte", ".mjs", ".css"}, filepath.Ext(path)):
			return nil
		}
		b, err := os.ReadFile(path)
		files++
		f(strings.TrimPrefix(path, root+"/"), string(b))
		return err
	})
	if err != nil || files < 50 {
		t.Fatalf("walked %d files: %v", files, err)
	}
}

func TestNoFileIsLong(t *testing.T) {
	const most = 500
	sources(t, func(path, text string) {
		if n := strings.Count(text, "\n"); n > most {
			t.Errorf("%s has %d lines, more than %d: split it by idea", path, n, most)
		}
	})
}

func TestEveryPackageSaysWhatItIs(t *testing.T) {
	said := map[string]bool{}
	sources(t, func(path, text string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ParseComments|parser.PackageClauseOnly)
		if err != nil {
			t.Errorf("%s: %v", path, err)
			return
		}
		dir := filepath.Dir(path)
		said[dir] = said[dir] || f.Doc != nil && len(f.Doc.Text()) > 40
	})
	for dir, ok := range said {
		if !ok {
			t.Errorf("%s has no package comment", dir)
		}
	}
}

// What people write becomes a page only by ways on which it stays text: templates that
// escape, and none that take markup as it is.
func TestPagesTakeNoMarkup(t *testing.T) {
	ways := map[string][]string{
		".go":     {`"text/` + `template"`, "template.JS(", "template.URL(", "template.HTMLAttr(", "template.CSS("},
		".svelte": {"{@" + "html", "inner" + "HTML", "outer" + "HTML", "insertAdjacent" + "HTML", "document." + "write"},
	}
	ways[".ts"] = ways[".svelte"]
	looked := 0
	sources(t, func(path, text string) {
		if strings.HasPrefix(path, "cmd/internal/archtest") || strings.Contains(path, ".test.") || strings.HasSuffix(path, "_test.go") {
			return
		}
		if looked++; filepath.Ext(path) == ".go" && !strings.HasPrefix(path, "stream/") && !strings.HasPrefix(path, "webui/") {
			return // makes no pages
		}
		for _, way := range ways[filepath.Ext(path)] {
			if strings.Contains(text, way) {
				t.Errorf("%s has %s", path, way)
			}
		}
	})
	if looked < 200 {
		t.Errorf("looked at %d files", looked)
	}
}

// Nothing under rules may read a clock, sleep, draw a random number or use the
// network: its only time is the time that it is given. Nor may the order of a
// map, which Go makes random, reach its results, so it ranges over none.
func TestRulesReadNoClock(t *testing.T) {
	forbidden := []string{`"math/rand"`, `"math/rand/v2"`, `"net"`, `"net/http"`, `"os"`, `"crypto/rand"`}
	clocks := []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}
	sources(t, func(path, text string) {
		if !strings.HasPrefix(path, "rules/") || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, text, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, imp := range f.Imports {
			if slices.Contains(forbidden, imp.Path.Value) {
				t.Errorf("%s imports %s", path, imp.Path.Value)
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clocks, sel.Sel.Name) {
					t.Errorf("%s uses time.%s", path, sel.Sel.Name)
				}
			}
			return true
		})
	})
}

// A test that DEVELOPERS.md names is there.
func TestNamedTestsAreThere(t *testing.T) {
	text, err := os.ReadFile(root + "/DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	sources(t, func(path, text string) {
		if strings.HasSuffix(path, "_test.go") {
			for _, f := range regexp.MustCompile(`(?m)^func ((?:Test|Fuzz|Benchmark)\w+)\(`).FindAllStringSubmatch(text, -1) {
				there[f[1]] = true
			}
		}
	})
	named := regexp.MustCompile("`((?:Test|Fuzz)[A-Z]\\w+)`").FindAllStringSubmatch(string(text), -1)
	for _, n := range named {
		if !there[n[1]] {
			t.Errorf("DEVELOPERS.md names %s, which is not there", n[1])
		}
	}
	if len(named) < 50 {
		t.Errorf("DEVELOPERS.md names only %d tests", len(named))
	}
}

// The top level is a promise to whoever looks for something.
func TestTopLevel(t *testing.T) {
	want := []string{"cmd", "ingest", "rules", "stream", "webui", "config", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "Makefile", "LICENSE"}
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for _, e := range entries {
		have[e.Name()] = true
		if !strings.HasPrefix(e.Name(), ".") && e.Name() != "bin" && !slices.Contains(want, e.Name()) {
			t.Errorf("%s does not belong to the top level", e.Name())
		}
	}
	for _, name := range want {
		if !have[name] {
			t.Errorf("%s is missing from the top level", name)
		}
	}
}
