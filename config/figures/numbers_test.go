package figures

import (
	"fmt"
	"go/ast"
	"go/build"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"math"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/fit"
	"weald/rules/matstat"
)

// counted are numbers that are no constants.
func counted() map[string]any {
	f := fit.Defaults()
	models := make([]string, len(curve.Models))
	for i, m := range curve.Models {
		models[i] = string(m)
	}
	return map[string]any{
		"rules/matstat.NewtonsPerMMHgMM2":      float64(matstat.NewtonsPerMMHgMM2),
		"ingest/calib/curve.Models":            strings.Join(models, ", "),
		"ingest/calib/fit.Defaults.Warn":       f.Warn,
		"ingest/calib/fit.Defaults.Reject":     f.Reject,
		"ingest/calib/fit.Defaults.Drift":      f.Drift,
		"ingest/calib/fit.Defaults.Valid":      f.Valid,
		"ingest/calib/fit.Defaults.ReferenceU": f.ReferenceU,
	}
}

// Each line names a constant of the program and has its value.
func TestNumbersAreThoseOfTheProgram(t *testing.T) {
	code, other := newCode(t), counted()
	for _, f := range Numbers() {
		v, ok := other[f.Name]
		if !ok {
			i := strings.LastIndex(f.Name, ".")
			if v = code.constant(f.Name[:i], f.Name[i+1:]); v == nil {
				t.Errorf("there is no %s in the program", f.Name)
				continue
			}
		}
		if err := same(f.Value, v); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
		delete(other, f.Name)
	}
	for name := range other {
		t.Errorf("%s is not listed", name)
	}
}

// same compares what is written with what is: to the last digit that is written.
func same(written string, v any) error {
	number, _, _ := strings.Cut(written, " ")
	got := ""
	switch v := v.(type) {
	case string:
		number, got = written, v
	case time.Duration:
		days, isDays := strings.CutSuffix(number, "d")
		if isDays {
			number = days + "h"
		}
		d, err := time.ParseDuration(number)
		if err != nil {
			return err
		}
		if isDays {
			d *= 24
		}
		number, got = d.String(), v.String()
	case float64:
		if hex, ok := strings.CutPrefix(number, "0x"); ok {
			number, got = hex, fmt.Sprintf("%X", int64(v))
			break
		}
		_, decimals, _ := strings.Cut(number, ".")
		got = strconv.FormatFloat(v, 'f', len(decimals), 64)
		if v != 0 && math.Abs(v-mustFloat(got))/math.Abs(v) > 0.001 {
			return fmt.Errorf("%s is written, which is too few digits for %v", written, v)
		}
	}
	if got != number {
		return fmt.Errorf("%s is written, and it is %s", written, got)
	}
	return nil
}

func mustFloat(s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return x
}

func TestSame(t *testing.T) {
	for _, tt := range []struct {
		written string
		v       any
		want    bool
	}{
		{"10 mmHg", 10.0, true}, {"10 mmHg", 10.4, false}, {"10", 11.0, false}, {"0.30", 0.3, true},
		{"0x2A6D", 10861.0, true}, {"0x2A6E", 10861.0, false}, {"90d", 90 * 24 * time.Hour, true},
		{"1m", time.Second, false}, {"a, b", "a, b", true}, {"a", "b", false},
	} {
		if err := same(tt.written, tt.v); (err == nil) != tt.want {
			t.Errorf("%s and %v: %v", tt.written, tt.v, err)
		}
	}
}

// A code has the constants of packages, of which it reads no more than it must: what
// they import from elsewhere it does not need, and bodies of functions neither.
type code struct {
	files *token.FileSet
	std   types.Importer
	known map[string]*types.Package
}

func newCode(t *testing.T) *code {
	t.Helper()
	if build.Default.GOROOT == "" { // a program does not know it in which no folder's name is
		root, err := exec.Command("go", "env", "GOROOT").Output()
		if err != nil {
			t.Fatal(err)
		}
		build.Default.GOROOT = strings.TrimSpace(string(root))
	}
	files := token.NewFileSet()
	return &code{files, importer.ForCompiler(files, "source", nil), map[string]*types.Package{}}
}

// constant returns a constant of a package by its path without the module: a
// time.Duration, a float64 or a string; nil if there is none.
func (c *code) constant(path, name string) any {
	pkg, err := c.Import("weald/" + path)
	if err != nil {
		return nil
	}
	k, ok := pkg.Scope().Lookup(name).(*types.Const)
	if !ok {
		return nil
	}
	return valueOf(k)
}

func valueOf(k *types.Const) any {
	if k.Val().Kind() == constant.String {
		return constant.StringVal(k.Val())
	}
	x, _ := constant.Float64Val(constant.ToFloat(k.Val()))
	if k.Type().String() == reflect.TypeFor[time.Duration]().String() {
		return time.Duration(x)
	}
	return x
}

// Import implements types.Importer.
func (c *code) Import(path string) (*types.Package, error) {
	if p, ok := c.known[path]; ok {
		return p, nil
	}
	within, ours := strings.CutPrefix(path, "weald/")
	switch {
	case path == "time" || path == "math":
		p, err := c.std.Import(path)
		c.known[path] = p
		return p, err
	case !ours:
		return nil, fmt.Errorf("%s is not needed", path)
	}
	paths, err := filepath.Glob("../../" + within + "/*.go")
	if err != nil || len(paths) == 0 {
		return nil, fmt.Errorf("there is no package %s: %v", path, err)
	}
	var parsed []*ast.File
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(c.files, p, nil, parser.SkipObjectResolution)
		if err != nil {
			return nil, err
		}
		parsed = append(parsed, f)
	}
	conf := types.Config{Importer: c, IgnoreFuncBodies: true, Error: func(error) {}}
	pkg, _ := conf.Check(path, c.files, parsed, nil) // errors of what was not imported
	c.known[path] = pkg
	return pkg, nil
}
