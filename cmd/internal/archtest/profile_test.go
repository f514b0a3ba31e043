package archtest

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	function   = regexp.MustCompile(`^func (?:\((?:\w+ )?\*?(\w+)(?:\[[^\]]*\])?\) )?(\w+)`)
	closure    = regexp.MustCompile(`^(func|gowrap|deferwrap)?\d+`)
	typeParams = regexp.MustCompile(`\[.*\]`)
)

// What the profile says that releases are built by (.packaging/weald.pgo) is of functions
// that there are: calls that are no more are a tenth of our own at the most, and what
// every reading passes is in it. Else it helps with what is no more, and it is time for
// make profile.
func TestTheProfileIsOfThisProgram(t *testing.T) {
	declared := map[string]bool{}
	sources(t, func(path, text string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		for line := range strings.Lines(text) {
			if f := function.FindStringSubmatch(line); f != nil {
				declared["weald/"+filepath.Dir(path)+"."+strings.TrimPrefix(f[1]+"."+f[2], ".")] = true
			}
		}
	})
	weights := profileWeights(t, root+"/.packaging/weald.pgo")
	var all, gone int64
	var lost []string
	for name, weight := range weights {
		if !strings.HasPrefix(name, "weald/") {
			continue
		}
		all += weight
		if !declared[declaration(name)] {
			gone += weight
			lost = append(lost, name)
		}
	}
	if all == 0 || 10*gone > all {
		t.Errorf("the profile has %d calls, of which %d are of functions that are no more: %q", all, gone, lost)
	}
	for _, name := range []string{ // of a mat, of a row, of what is judged and kept
		"weald/ingest/frame.(*Packed).Feed", "weald/ingest/frame.(*Rows).row", "weald/ingest/assembly.(*Assembler).Frame",
		"weald/rules.(*Engine).Scan", "weald/rules/hold.(*Cells).Set", "weald/stream/pipeline.(*Pipeline).Run",
	} {
		if !declared[declaration(name)] || weights[name] == 0 {
			t.Errorf("a reading passes %s, which the profile has %d times, or is no more", name, weights[name])
		}
	}
}

// declaration is what declares the function of a name that the linker gives it:
// weald/rules/matstat.Mat.join of weald/rules/matstat.(*Mat).join.func1.
func declaration(linked string) string {
	linked = strings.NewReplacer("(*", "", ")", "").Replace(typeParams.ReplaceAllString(linked, ""))
	slash := strings.LastIndexByte(linked, '/') + 1
	parts := strings.Split(linked[slash:], ".")
	if len(parts) > 2 && !closure.MatchString(parts[2]) {
		parts[1] += "." + parts[2]
	}
	name, _, _ := strings.Cut(parts[1], "-") // -fm, -range1
	return linked[:slash] + parts[0] + "." + name
}

// profileWeights says of each function how often it called or was called, by a profile as
// make profile writes it: samples of two locations of one function each, nothing packed
// (github.com/google/pprof, profile.proto).
func profileWeights(t *testing.T, file string) map[string]int64 {
	t.Helper()
	p, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	var samples [][]uint64
	nameOf, functionOf := map[uint64]uint64{}, map[uint64]uint64{}
	walk(p, nil, func(field uint64, body []byte) {
		var numbers []uint64
		var inner []byte
		if field == 6 {
			names = append(names, string(body))
			return
		}
		number := func(_ uint64, v uint64) { numbers = append(numbers, v) }
		walk(body, number, func(_ uint64, b []byte) { inner = b })
		switch field {
		case 2:
			samples = append(samples, numbers)
		case 4:
			walk(inner, number, nil)
			functionOf[numbers[0]] = numbers[1]
		case 5:
			nameOf[numbers[0]] = numbers[1]
		}
	})
	weights := map[string]int64{}
	for _, s := range samples {
		for _, location := range s[:2] {
			weights[names[nameOf[functionOf[location]]]] += int64(s[2])
		}
	}
	return weights
}

// walk goes through the fields of a message that are numbers, or have a length.
func walk(p []byte, number func(field, v uint64), body func(field uint64, b []byte)) {
	next := func() uint64 {
		v, n := binary.Uvarint(p)
		if n <= 0 {
			panic("no profile as make profile writes it")
		}
		p = p[n:]
		return v
	}
	for len(p) > 0 {
		switch key, v := next(), next(); key & 7 {
		case 0:
			number(key>>3, v)
		case 2:
			body(key>>3, p[:v])
			p = p[v:]
		}
	}
}
