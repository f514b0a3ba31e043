package expr

import (
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/refusals.txt anew")

// TestRefusals holds every message against testdata/refusals.txt: an expression
// (quoted where it has bytes that would not show), then its problems, indented,
// with their columns.
func TestRefusals(t *testing.T) {
	const file = "testdata/refusals.txt"
	golden, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var got strings.Builder
	for line := range strings.Lines(string(golden)) {
		switch {
		case strings.HasPrefix(line, "    "): // what is to be found out
			continue
		case line == "\n" || strings.HasPrefix(line, "#"):
			got.WriteString(line)
			continue
		}
		got.WriteString(line)
		text := strings.TrimSuffix(line, "\n")
		if strings.HasPrefix(text, `"`) {
			if text, err = strconv.Unquote(text); err != nil {
				t.Fatalf("%s: %v", line, err)
			}
		}
		p, problems := Compile(text, ward.resolve, ward.names)
		if p != nil || len(problems) == 0 {
			t.Errorf("%q was accepted", text)
		}
		for _, p := range problems {
			fmt.Fprintf(&got, "    %d: %s\n", p.Column, p.Message)
		}
	}
	if *update {
		if err := os.WriteFile(file, []byte(got.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	want := strings.Split(string(golden), "\n")
	for i, line := range strings.Split(got.String(), "\n") {
		if i >= len(want) || line != want[i] {
			t.Fatalf("%s:%d: got\n%s\nwant\n%s", file, i+1, line, want[min(i, len(want)-1)])
		}
	}
	if got.String() != string(golden) {
		t.Errorf("%s has more than was found", file)
	}
}

// TestLimits has the refusals that are too long for a table.
func TestLimits(t *testing.T) {
	nest := func(n int, open, close string) string {
		return strings.Repeat(open, n) + "still" + strings.Repeat(close, n)
	}
	for _, c := range []struct {
		name, text string
		column     int // of the one problem; 0 for none
		message    string
	}{
		{"128 names in a chain", nest(1, strings.Repeat("still and ", 127), ""), 0, ""},
		{"129 names in a chain", nest(1, strings.Repeat("still and ", 128), ""), 1277, "too long: it may have 256"},
		{"a megabyte", nest(1, strings.Repeat("still and ", 100_000), ""), 1277, "too long"},
		{"32 parentheses", nest(MaxDepth, "(", ")"), 0, ""},
		{"33 parentheses", nest(MaxDepth+1, "(", ")"), MaxDepth + 1, "too deep: 32 levels"},
		{"100 000 parentheses", nest(100_000, "(", ")"), MaxDepth + 1, "too deep"},
		{"32 nots", nest(MaxDepth, "not ", ""), 0, ""},
		{"33 nots", nest(MaxDepth+1, "not ", ""), 4*MaxDepth + 1, "too deep"},
		{"33 signs", strings.Repeat("-", MaxDepth+1) + "4 > 3", MaxDepth + 1, "too deep"},
		{"33 calls", nest(MaxDepth+1, "known(", ")"), 6*MaxDepth + 1, "too deep"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, problems := Compile(c.text, ward.resolve, ward.names)
			switch {
			case c.column == 0 && len(problems) > 0:
				t.Errorf("refused: %v", problems)
			case c.column == 0:
			case len(problems) != 1:
				t.Errorf("problems %v, want one", problems)
			case problems[0].Column != c.column || !strings.Contains(problems[0].Message, c.message):
				t.Errorf("got %v, want column %d: %s", problems[0], c.column, c.message)
			}
		})
	}
}

// TestProblemsEnd shows that a hopeless text gets a bounded answer.
func TestProblemsEnd(t *testing.T) {
	_, problems := Compile(strings.Repeat("nobody and ", 100)+"nobody", ward.resolve, ward.names)
	if len(problems) != maxProblems {
		t.Errorf("%d problems, want %d", len(problems), maxProblems)
	}
	if got, want := problems[1].Error(), "column 12: there is no signal nobody here: "; !strings.HasPrefix(got, want) {
		t.Errorf("got %q, want %q…", got, want)
	}
}

// TestFewSignals has the messages of places with less to choose from than ward.
func TestFewSignals(t *testing.T) {
	few := newPlace(map[string]Signal{"still": {Truth: true}, "mat.peak": {Unit: "mmHg"}})
	for _, c := range []struct {
		place place
		want  string
	}{
		{place{}, "there is no signal elbow.torque here: there are none"},
		{few, "there is no signal elbow.torque here: there are mat.peak, still"},
	} {
		_, problems := Compile("elbow.torque > 3", c.place.resolve, c.place.names)
		if len(problems) != 1 || problems[0].Message != c.want {
			t.Errorf("problems %v, want %s", problems, c.want)
		}
	}
}
