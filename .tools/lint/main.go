// Command lint holds code to what `go vet` and staticcheck ask of it, both in one run,
// so that every package is read and typed once.
//
// What is told is about this project alone. Of other people's packages staticcheck and
// vet want to know which functions never return, have no effect or print like Printf;
// to find that out in a database and a message server takes three times as long as all
// the rest, so it is asked only of the packages that have an answer (asked).
package main

import (
	"os"
	"reflect"
	"strings"

	"golang.org/x/tools/go/analysis"
	"golang.org/x/tools/go/analysis/passes/appends"
	"golang.org/x/tools/go/analysis/passes/assign"
	"golang.org/x/tools/go/analysis/passes/atomic"
	"golang.org/x/tools/go/analysis/passes/bools"
	"golang.org/x/tools/go/analysis/passes/buildtag"
	"golang.org/x/tools/go/analysis/passes/composite"
	"golang.org/x/tools/go/analysis/passes/copylock"
	"golang.org/x/tools/go/analysis/passes/defers"
	"golang.org/x/tools/go/analysis/passes/directive"
	"golang.org/x/tools/go/analysis/passes/errorsas"
	"golang.org/x/tools/go/analysis/passes/hostport"
	"golang.org/x/tools/go/analysis/passes/httpresponse"
	"golang.org/x/tools/go/analysis/passes/ifaceassert"
	"golang.org/x/tools/go/analysis/passes/loopclosure"
	"golang.org/x/tools/go/analysis/passes/lostcancel"
	"golang.org/x/tools/go/analysis/passes/nilfunc"
	"golang.org/x/tools/go/analysis/passes/printf"
	"golang.org/x/tools/go/analysis/passes/shift"
	"golang.org/x/tools/go/analysis/passes/sigchanyzer"
	"golang.org/x/tools/go/analysis/passes/slog"
	"golang.org/x/tools/go/analysis/passes/stdmethods"
	"golang.org/x/tools/go/analysis/passes/stdversion"
	"golang.org/x/tools/go/analysis/passes/stringintconv"
	"golang.org/x/tools/go/analysis/passes/structtag"
	"golang.org/x/tools/go/analysis/passes/testinggoroutine"
	"golang.org/x/tools/go/analysis/passes/tests"
	"golang.org/x/tools/go/analysis/passes/timeformat"
	"golang.org/x/tools/go/analysis/passes/unmarshal"
	"golang.org/x/tools/go/analysis/passes/unreachable"
	"golang.org/x/tools/go/analysis/passes/unsafeptr"
	"golang.org/x/tools/go/analysis/passes/unusedresult"
	"golang.org/x/tools/go/analysis/passes/waitgroup"
	"honnef.co/go/tools/analysis/lint"
	"honnef.co/go/tools/lintcmd"
	"honnef.co/go/tools/simple"
	"honnef.co/go/tools/staticcheck"
	"honnef.co/go/tools/stylecheck"
	"honnef.co/go/tools/unused"
)

// vet is what `go vet` of the same release looks for, but for what concerns C and
// assembly, of which there is none here.
var vet = []*analysis.Analyzer{
	appends.Analyzer, assign.Analyzer, atomic.Analyzer, bools.Analyzer, buildtag.Analyzer,
	composite.Analyzer, copylock.Analyzer, defers.Analyzer, directive.Analyzer, errorsas.Analyzer,
	hostport.Analyzer, httpresponse.Analyzer, ifaceassert.Analyzer, loopclosure.Analyzer, lostcancel.Analyzer,
	nilfunc.Analyzer, printf.Analyzer, shift.Analyzer, sigchanyzer.Analyzer, slog.Analyzer, stdmethods.Analyzer,
	stdversion.Analyzer, stringintconv.Analyzer, structtag.Analyzer, testinggoroutine.Analyzer, tests.Analyzer,
	timeformat.Analyzer, unmarshal.Analyzer, unreachable.Analyzer, unsafeptr.Analyzer, unusedresult.Analyzer,
	waitgroup.Analyzer,
}

// asked names the packages, beside the project's own, whose functions are looked into:
// those that end a program, a test or a goroutine, that print, or whose functions are of
// no use to who drops what they return.
var asked = map[string]bool{
	"os": true, "log": true, "log/slog": true, "runtime": true, "syscall": true, "testing": true, "flag": true,
	"fmt": true, "errors": true, "pgregory.net/rapid": true,
	"strings": true, "bytes": true, "strconv": true, "slices": true, "maps": true, "sort": true, "time": true,
	"math": true, "path": true, "path/filepath": true, "unicode/utf8": true,
}

func main() {
	cmd := lintcmd.NewCommand("lint")
	cmd.ParseFlags(os.Args[1:])
	known := map[*analysis.Analyzer]bool{}
	for _, a := range vet {
		spare(a, known)
	}
	cmd.AddBareAnalyzers(vet...)
	for _, group := range [][]*lint.Analyzer{simple.Analyzers, staticcheck.Analyzers, stylecheck.Analyzers, {unused.Analyzer}} {
		for _, a := range group {
			spare(a.Analyzer, known)
		}
		cmd.AddAnalyzers(group...)
	}
	cmd.Run()
}

// cheap are those that look at comments and names only, so that even the largest
// package is read in no time; that something is deprecated is known from them.
var cheap = map[string]bool{"fact_deprecated": true, "directives": true, "isgenerated": true, "tokenfileanalyzer": true}

// spare keeps an analyzer, and all that it needs, from packages that are not asked.
func spare(a *analysis.Analyzer, known map[*analysis.Analyzer]bool) {
	if known[a] {
		return
	}
	known[a] = true
	for _, needed := range a.Requires {
		spare(needed, known)
	}
	if cheap[a.Name] {
		return
	}
	run := a.Run
	a.Run = func(pass *analysis.Pass) (any, error) {
		path := pass.Pkg.Path()
		if asked[path] || path == "weald" || strings.HasPrefix(path, "weald/") {
			return run(pass)
		}
		if a.ResultType == nil {
			return nil, nil
		}
		if a.ResultType.Kind() == reflect.Pointer {
			return reflect.New(a.ResultType.Elem()).Interface(), nil
		}
		return reflect.Zero(a.ResultType).Interface(), nil
	}
}
