package archtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// What is logged as a warning or an error says what a person can do, as an attribute do
// or behind a colon, but where its words come from elsewhere and say it: those of bridges and sources
// (ingest, complaint), and of faults, which are alerts. A person who reads a log at night
// has no other handbook.
func TestWarningsSayWhatToDo(t *testing.T) {
	elsewhere := []string{"bridge is in trouble", "source is in trouble"}
	found := 0
	sources(t, func(path, text string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, path, text, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || sel.Sel.Name != "Warn" && sel.Sel.Name != "Error" {
				return true
			}
			message, ok := call.Args[0].(*ast.BasicLit)
			if !ok {
				return true // words from elsewhere, or no log
			}
			said, err := strconv.Unquote(message.Value)
			if err != nil || slices.Contains(elsewhere, said) || strings.Contains(said, ": ") {
				return true
			}
			found++
			for _, a := range call.Args[1:] {
				if attr, ok := a.(*ast.CallExpr); ok && len(attr.Args) > 0 {
					if key, ok := attr.Args[0].(*ast.BasicLit); ok && key.Value == `"do"` {
						return true
					}
				}
			}
			t.Errorf("%s: %q does not say what to do", set.Position(call.Pos()), said)
			return true
		})
	})
	if found < 25 {
		t.Errorf("looked at %d warnings only", found)
	}
}
