package config

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func badFiles(t *testing.T) []string {
	t.Helper()
	names, err := filepath.Glob("testdata/bad/*.yaml")
	if err != nil || len(names) == 0 {
		t.Fatalf("no bad files: %v", err)
	}
	return names
}

func wanted(name string) string { return strings.TrimSuffix(name, ".yaml") + ".want" }

// Each bad file has its problems beside it, in order and complete.
func TestProblems(t *testing.T) {
	for _, name := range badFiles(t) {
		c, problems := Parse(filepath.Base(name), readFile(t, name))
		got := problems.Error() + "\n"
		if *update {
			if err := os.WriteFile(wanted(name), []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if c != nil {
			t.Errorf("%s: gives a Config with its problems", name)
		}
		if want := string(readFile(t, wanted(name))); got != want {
			t.Errorf("%s: got\n%swant\n%s", name, got, want)
		}
	}
}

// Every sentence that this package can say is in one of the expected files, so
// that none is left unread.
func TestEveryMessageIsExpected(t *testing.T) {
	var all strings.Builder
	for _, name := range badFiles(t) {
		all.Write(readFile(t, wanted(name)))
	}
	said := all.String()
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	formats := 0
	for _, name := range sources {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "Report" {
				return true
			}
			format := literal(t, call.Args[1])
			if format == "%s" { // of another package
				return true
			}
			formats++
			if !pattern(format).MatchString(said) {
				t.Errorf("%s: no bad file shows the message %q", name, format)
			}
			return true
		})
	}
	if formats < 40 {
		t.Errorf("found only %d messages: does this test still find them?", formats)
	}
}

// literal evaluates a string made of literals.
func literal(t *testing.T, e ast.Expr) string {
	t.Helper()
	switch e := e.(type) {
	case *ast.BasicLit:
		s, err := strconv.Unquote(e.Value)
		if err != nil {
			t.Fatal(err)
		}
		return s
	case *ast.BinaryExpr:
		return literal(t, e.X) + literal(t, e.Y)
	}
	t.Fatalf("a message is not a literal: %T", e)
	return ""
}

// pattern matches whatever a format can print.
func pattern(format string) *regexp.Regexp {
	verbs := regexp.MustCompile(`%[a-z]`)
	parts := verbs.Split(format, -1)
	for i, p := range parts {
		parts[i] = regexp.QuoteMeta(p)
	}
	return regexp.MustCompile(`(?m): ` + strings.Join(parts, `.*`) + `$`)
}

func TestLoad(t *testing.T) {
	c, problems := Load("testdata/ward.yaml")
	if len(problems) > 0 || c == nil {
		t.Fatalf("the example has problems:\n%v", problems)
	}
	if err := problems.Err(); err != nil {
		t.Errorf("no problems are the error %v", err)
	}
	_, problems = Load("testdata/nowhere.yaml")
	const want = "testdata/nowhere.yaml: cannot be read: no such file or directory: give the path of a configuration file"
	if err := problems.Err(); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	long := filepath.Join(t.TempDir(), "long.yaml")
	if err := os.WriteFile(long, make([]byte, 5<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, problems = Load(long); len(problems) != 1 || !strings.Contains(problems[0].Message, "at most") {
		t.Errorf("a file of 5 MiB: %v", problems)
	}
}
