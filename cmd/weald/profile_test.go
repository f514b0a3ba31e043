package main

import (
	"cmp"
	"context"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Releases are built by a profile of the program at its work, which is renewed now and then.
const releaseProfile = "../../.packaging/weald.pgo"

var (
	profileTo = flag.Bool("profile", false, "renew the profile that releases are built by")
	pairs     = flag.Int("pairs", 0, "how often TestGuided has a plain build and one by the profile do the same; without it the test is skipped")
)

// profiled makes the test binary, where it is the program, write a profile into a file.
const profiled = "WEALD_TEST_PROFILE"

func runProfiled(file string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	f, err := os.Create(file)
	if err == nil {
		err = pprof.StartCPUProfile(f)
	}
	if err != nil {
		panic(err)
	}
	defer pprof.StopCPUProfile()
	return run(ctx, os.Args[1:], os.Stdout, os.Stderr)
}

// Renews the profile: of each work as many seconds as of the others, roughly.
func TestProfile(t *testing.T) {
	if !*profileTo {
		t.Skip("by hand: make profile")
	}
	const each = 15 * time.Second
	dir := t.TempDir()
	var files []string
	observed := func(args ...string) *exec.Cmd {
		files = append(files, filepath.Join(dir, fmt.Sprintf("%d.pprof", len(files))))
		cmd := exec.Command(os.Args[0], args...)
		cmd.Env = append(os.Environ(), asProgram+"=1", profiled+"="+files[len(files)-1])
		return cmd
	}
	for _, w := range worksIn(t, dir) {
		used := time.Duration(0)
		for used < each {
			used += w.do(t, observed)[0]
		}
		t.Logf("%v: %s", used, w.name)
	}
	merged, edges := filepath.Join(dir, "merged"), filepath.Join(dir, "edges")
	tool := func(args ...string) {
		if said, err := exec.Command("go", append([]string{"tool"}, args...)...).CombinedOutput(); err != nil {
			t.Fatalf("go tool %v: %v: %s", args, err, said)
		}
	}
	tool(append([]string{"pprof", "-proto", "-output", merged}, files...)...)
	tool("preprofile", "-i", merged, "-o", edges)
	text, err := os.ReadFile(edges)
	must(t, err)
	must(t, os.WriteFile(releaseProfile, smallProfile(callsOf(string(text))), 0o644))
	// What the compiler makes of it is the same, but for what is left out.
	tool("preprofile", "-i", releaseProfile, "-o", merged)
	again, err := os.ReadFile(merged)
	must(t, err)
	was, is := callsOf(string(text)), callsOf(string(again))
	was = slices.DeleteFunc(was, func(c call) bool { return c.weight <= 1 })
	if !slices.Equal(was, is) {
		t.Errorf("the compiler makes %d calls of %d, or others", len(is), len(was))
	}
}

// A call is who calls whom at which line of a function, and how often that was met.
type call struct {
	caller, callee string
	line, weight   int64
}

// callsOf are the calls of a profile as the compiler takes them (go tool preprofile), named
// as in the program.
func callsOf(edges string) (all []call) {
	lines := strings.Split(strings.TrimSpace(strings.ReplaceAll(edges, "weald/cmd/weald.", "main.")), "\n")[1:]
	for ; len(lines) >= 3; lines = lines[3:] {
		c := call{caller: lines[0], callee: lines[1]}
		fmt.Sscan(lines[2], &c.line, &c.weight)
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b call) int {
		return cmp.Or(-cmp.Compare(a.weight, b.weight), cmp.Compare(a.caller, b.caller), cmp.Compare(a.callee, b.callee), cmp.Compare(a.line, b.line))
	})
	return all
}

// smallProfile is a profile of calls alone (github.com/google/pprof, profile.proto): so it
// has no names of files in it, and not a hundredth of the stacks. Calls that were met once
// are left out, as the compiler would put a function into another one for that.
func smallProfile(calls []call) []byte {
	const starts = 10_000 // the line where every function begins: what is inlined may be called in front of it
	var p []byte
	number := func(b []byte, field, v uint64) []byte {
		return binary.AppendUvarint(binary.AppendUvarint(b, field<<3), v)
	}
	put := func(field uint64, body []byte) {
		p = append(binary.AppendUvarint(binary.AppendUvarint(p, field<<3|2), uint64(len(body))), body...)
	}
	texts, functions, locations := map[string]uint64{}, map[string]uint64{}, map[call]uint64{}
	text := func(s string) uint64 {
		if _, there := texts[s]; !there {
			texts[s] = uint64(len(texts))
			put(6, []byte(s))
		}
		return texts[s]
	}
	text("")
	put(1, number(number(nil, 1, text("samples")), 2, text("count")))
	location := func(name string, line int64) uint64 {
		if functions[name] == 0 {
			functions[name] = uint64(len(functions) + 1)
			put(5, number(number(number(nil, 1, functions[name]), 2, text(name)), 5, starts))
		}
		at := call{caller: name, line: line}
		if locations[at] == 0 {
			locations[at] = uint64(len(locations) + 1)
			within := number(number(nil, 1, functions[name]), 2, uint64(starts+line))
			put(4, append(append(binary.AppendUvarint(number(nil, 1, locations[at]), 4<<3|2), byte(len(within))), within...))
		}
		return locations[at]
	}
	for _, c := range calls {
		if c.weight > 1 {
			callee, caller := location(c.callee, 0), location(c.caller, c.line)
			put(2, number(number(number(nil, 1, callee), 1, caller), 2, uint64(c.weight)))
		}
	}
	return p
}

// What a build by the profile uses of a processor for each work, in times of what a
// plain one does for it beside it.
func TestGuided(t *testing.T) {
	if *pairs == 0 {
		t.Skip("by hand, with -pairs 7")
	}
	dir := t.TempDir()
	var builds []program
	for _, by := range []string{"off", releaseProfile} {
		name := filepath.Join(dir, strconv.Itoa(len(builds)))
		if said, err := exec.Command("go", "build", "-pgo="+by, "-o", name, ".").CombinedOutput(); err != nil {
			t.Fatalf("go build: %v: %s", err, said)
		}
		builds = append(builds, func(args ...string) *exec.Cmd { return exec.Command(name, args...) })
	}
	for _, w := range worksIn(t, dir) {
		var times []float64
		for i := range *pairs {
			first := i % 2 // who comes first
			used := w.do(t, builds[first], builds[1-first])
			times = append(times, used[1-first].Seconds()/used[first].Seconds())
			t.Logf("%s: %v, guided %v", w.name, used[first], used[1-first])
		}
		slices.SortFunc(times, cmp.Compare)
		mean := 0.0
		for _, r := range times {
			mean += math.Log(r) / float64(len(times))
		}
		t.Logf("%.3f times (%.3f to %.3f, mean %.3f): %s", times[len(times)/2], times[0], times[len(times)-1], math.Exp(mean), w.name)
	}
}
