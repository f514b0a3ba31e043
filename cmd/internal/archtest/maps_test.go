package archtest

import (
	"go/ast"
	"go/types"
	"strings"
	"testing"

	"golang.org/x/tools/go/packages"
)

// Go visits maps in random order. Nothing under rules may depend on that, and
// the simplest way to be sure is to range over none.
func TestRulesRangeOverNoMap(t *testing.T) {
	pkgs, err := packages.Load(&packages.Config{Mode: packages.NeedName | packages.NeedSyntax | packages.NeedTypes | packages.NeedTypesInfo | packages.NeedFiles | packages.NeedImports | packages.NeedDeps}, "weald/rules/...")
	if err != nil {
		t.Fatal(err)
	}
	ranges := 0
	for _, pkg := range pkgs {
		if len(pkg.Errors) > 0 {
			t.Errorf("%s does not compile: %v", pkg.PkgPath, pkg.Errors[0])
			continue
		}
		for _, f := range pkg.Syntax {
			if strings.HasSuffix(pkg.Fset.File(f.Pos()).Name(), "_test.go") {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				r, ok := n.(*ast.RangeStmt)
				if !ok {
					return true
				}
				ranges++
				if _, isMap := pkg.TypesInfo.TypeOf(r.X).Underlying().(*types.Map); isMap {
					t.Errorf("%s ranges over a map", pkg.Fset.Position(r.Pos()))
				}
				return true
			})
		}
	}
	if ranges < 20 {
		t.Errorf("saw %d loops only", ranges)
	}
}
