package toll

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write down the instructions that stages take now")

const (
	written = "testdata/instructions.txt"
	most    = 1.10 // times as many instructions as were written down
	inStep  = 1.03 // times as many for what must cost the same

	// asked makes this program go through the stages, for callgrind.
	asked = "WEALD_TOLL"

	before  = 2 * minute // scans that a stage is shown before it is counted
	counted = minute
)

func TestMain(m *testing.M) {
	if os.Getenv(asked) == "" {
		os.Exit(m.Run())
	}
	for _, s := range stages() {
		for n := range before {
			s.scan(n)
		}
		mark()
		for n := range counted {
			s.scan(before + n)
		}
		mark()
	}
}

var marks int

// mark is where callgrind writes down what it has counted, and begins anew.
//
//go:noinline
func mark() { marks++ }

// BenchmarkStages has every stage beside its bare loop.
func BenchmarkStages(b *testing.B) {
	for _, s := range stages() {
		each := func(name string, f func(n int)) {
			n := 0 // time goes on from one try to the next
			b.Run(name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					f(n)
					n++
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(s.cells), "ns/cell")
			})
		}
		name := strings.ReplaceAll(s.name, "/", " ")
		if s.bare != nil {
			each(name+"/bare", s.bare)
		}
		each(name+"/weald", s.scan)
	}
}

// Once buffers have grown no stage allocates.
func TestNoStageAllocates(t *testing.T) {
	for _, s := range stages() {
		n := 0
		one := func() { s.scan(n); n++ }
		for range before {
			one()
		}
		if got := testing.AllocsPerRun(counted, one); got != 0 {
			t.Errorf("%s: %v allocations a scan, want none", s.name, got)
		}
	}
}

// No stage takes a tenth more instructions than were written down. Rules that a place
// does not use, places that nobody watches, and a viewer of another place cost it nothing.
func TestInstructions(t *testing.T) {
	if runtime.GOOS != "linux" || runtime.GOARCH != "amd64" {
		t.Skip("what is written down was counted on linux/amd64")
	}
	if _, err := exec.LookPath("valgrind"); err != nil {
		t.Skip("there is no valgrind, whose callgrind counts instructions")
	}
	now := count(t)
	all := stages()
	if *update {
		var b bytes.Buffer
		fmt.Fprintf(&b, "# Instructions a scan, counted by callgrind with %s. Renewed by: make toll\n", runtime.Version())
		for i, s := range all {
			fmt.Fprintf(&b, "%10.0f  %s\n", now[i], s.name)
		}
		if err := os.WriteFile(written, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	was := readWritten(t)
	for i, s := range all {
		t.Logf("%9.0f instructions a scan, %6.2f a cell: %s", now[i], now[i]/float64(s.cells), s.name)
		switch w := was[s.name]; {
		case w == 0:
			t.Errorf("%s: nothing is written down; make toll does", s.name)
		case now[i] > most*w:
			t.Errorf("%s: %.0f instructions a scan, %.0f were written down: %.1f %% more", s.name, now[i], w, 100*(now[i]/w-1))
		case now[i] < w/most:
			t.Logf("%s: %.0f instructions a scan, %.0f were written down: make toll keeps the gain", s.name, now[i], w)
		}
	}
	cost := map[string]float64{}
	for i, s := range all {
		cost[s.name] = now[i]
	}
	for name, other := range alike {
		limit := inStep
		if ticked[name] {
			limit = most
		}
		if math.Abs(cost[name]/cost[other]-1) > limit-1 {
			t.Errorf("%.0f instructions a scan for %s, and %.0f for %s", cost[other], other, cost[name], name)
		}
	}
}

func readWritten(t *testing.T) map[string]float64 {
	t.Helper()
	text, err := os.ReadFile(written)
	if err != nil {
		t.Fatal(err)
	}
	was := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		if number, name, ok := strings.Cut(strings.TrimSpace(line), "  "); ok && !strings.HasPrefix(line, "#") {
			if was[name], err = strconv.ParseFloat(number, 64); err != nil {
				t.Fatalf("%s: %v", written, err)
			}
		}
	}
	return was
}

var totals = regexp.MustCompile(`(?m)^(?:totals|summary): (\d+)$`)

// count returns the instructions a scan of every stage. Neither the collector nor a
// second processor is there to disturb, and of the processor only what all have.
func count(t *testing.T) (perScan []float64) {
	t.Helper()
	dir := t.TempDir()
	program, out := filepath.Join(dir, "toll.test"), filepath.Join(dir, "counted")
	// Of the program that go test runs nobody can tell where mark is.
	if said, err := exec.Command("go", "test", "-c", "-vet=off", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("go test -c: %v\n%s", err, said)
	}
	cmd := exec.Command("valgrind", "--tool=callgrind", "--callgrind-out-file="+out, "--dump-before=weald/cmd/internal/toll.mark", program)
	cmd.Env = append(os.Environ(), asked+"=1", "GOGC=off", "GOMAXPROCS=1",
		"GODEBUG=asyncpreemptoff=1,cpu.avx=off,cpu.avx2=off,cpu.avx512f=off,cpu.bmi1=off,cpu.bmi2=off,cpu.erms=off,cpu.fma=off")
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("valgrind: %v\n%s", err, said)
	}
	for k := range stages() {
		// Dumps count from 1; the first of a stage is of what was before it.
		text, err := os.ReadFile(fmt.Sprintf("%s.%d", out, 2*k+2))
		if err != nil {
			t.Fatal(err)
		}
		found := totals.FindSubmatch(text)
		if found == nil {
			t.Fatalf("callgrind counted nothing for stage %d:\n%.500s", k, text)
		}
		n, err := strconv.ParseFloat(string(found[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		perScan = append(perScan, n/counted)
	}
	return perScan
}
