package tree

import (
	"fmt"
	"strings"
	"testing"
)

type outer struct {
	Name  string             `yaml:"name" jsonschema:"required"`
	Count int                `yaml:"count" jsonschema:"minimum=1,maximum=9,default=3"`
	Ratio *float64           `yaml:"ratio" jsonschema:"exclusiveMinimum=0"`
	On    bool               `yaml:"on"`
	Kind  string             `yaml:"kind" jsonschema:"enum=tall,enum=short,default=tall"`
	Pair  [2]int             `yaml:"pair"`
	Inner inner              `yaml:"inner"`
	Items []inner            `yaml:"items" jsonschema:"minItems=1"`
	Few   OneOrMany[inner]   `yaml:"few"`
	Words map[string]float64 `yaml:"words"`
	Code  code               `yaml:"code"`
}

type inner struct {
	Size float64 `yaml:"size" jsonschema:"default=1.5"`
}

type code string

func (c *code) UnmarshalText(b []byte) error {
	if len(b) != 3 {
		return fmt.Errorf("is %q: give three characters", b)
	}
	*c = code(b)
	return nil
}

func decode(t *testing.T, text string) (outer, string) {
	t.Helper()
	var out outer
	d, ok := Parse([]byte(text))
	if ok {
		d.Decode(&out)
	}
	var b strings.Builder
	for _, p := range d.Problems() {
		fmt.Fprintf(&b, "%d:%d: %s\n", p.Line, p.Column, p.Message)
	}
	return out, b.String()
}

func TestDecode(t *testing.T) {
	got, problems := decode(t, `
name: &n fern
count: 4
ratio: 2
on: true
kind: short
pair: [1, -2]
inner: {size: 3}
items: [{}, {size: 1e1}]
few: {size: 2}
words: {one: 1, fern: 2.5}
code: 007
`)
	if problems != "" {
		t.Fatalf("problems:\n%s", problems)
	}
	if got.Name != "fern" || got.Count != 4 || *got.Ratio != 2 || !got.On || got.Kind != "short" || got.Pair != [2]int{1, -2} {
		t.Errorf("scalars: %+v", got)
	}
	if got.Inner.Size != 3 || len(got.Items) != 2 || got.Items[0].Size != 1.5 || got.Items[1].Size != 10 || got.Few[0].Size != 2 {
		t.Errorf("structs: %+v", got)
	}
	if got.Words["one"] != 1 || got.Words["fern"] != 2.5 || got.Code != "007" {
		t.Errorf("words and code: %+v", got)
	}
}

func TestDefaults(t *testing.T) {
	got, problems := decode(t, "name: x\n")
	if problems != "" || got.Count != 3 || got.Kind != "tall" || got.Inner.Size != 1.5 || got.Ratio != nil {
		t.Errorf("got %+v, problems %q", got, problems)
	}
}

func TestAliasesStandForTheirValue(t *testing.T) {
	got, problems := decode(t, "name: x\ninner: &i {size: 7}\nitems: [*i, *i]\n")
	if problems != "" || len(got.Items) != 2 || got.Items[1].Size != 7 {
		t.Errorf("got %+v, problems %q", got, problems)
	}
}

func TestProblems(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"missing", "count: 2", "1:1: name is missing: give text\n"},
		{"unknown, near", "name: x\ncuont: 2", "2:1: cuont is not a known key: did you mean count?\n"},
		{"unknown, far", "name: x\ninner: {elephant: 2}", "2:9: elephant is not a known key: here one can give size\n"},
		{"unknown, odd", "name: x\n\"a b\": 2\ninner: {\"\": 1}", "2:1: \"a b\" is not a known key: here one can give name, count, ratio, on, kind, pair, inner, items, few, words or code\n3:9: \"\" is not a known key: here one can give size\n"},
		{"twice", "name: x\ncount: 2\nname: y", "3:1: name is given twice, first on line 1: keep one\n"},
		{"twice in words", "name: x\nwords: {a: 1, a: 2}", "2:15: a is given twice, first on line 2: keep one\n"},
		{"every problem", "count: 0\npair: [1]\nkind: tal", "1:1: name is missing: give text\n1:8: count is 0: give a whole number from 1 to 9\n2:7: pair is a list of 1: give a list of 2 values\n3:7: kind is \"tal\": did you mean tall? give tall or short\n"},
		{"above", "name: x\nratio: 0.0", "2:8: ratio is 0.0: give a number above 0\n"},
		{"too large", "name: x\ncount: 10", "2:8: count is 10: give a whole number from 1 to 9\n"},
		{"quoted number", "name: x\ncount: \"4\"", "2:8: count is \"4\": give a whole number from 1 to 9, without quotes\n"},
		{"decimal comma", "name: x\nratio: 2,5", "2:8: ratio is \"2,5\": give a number above 0, with a decimal point\n"},
		{"fraction", "name: x\ncount: 2.5", "2:8: count is the number 2.5: give a whole number from 1 to 9\n"},
		{"too many digits", "name: x\ncount: 9999999999", "2:8: count is 9999999999: give a whole number of up to nine plain digits, without a leading 0\n"},
		{"octal", "name: x\ncount: 010", "2:8: count is 010: give a whole number of up to nine plain digits, without a leading 0\n"},
		{"huge", "name: x\ncount: 99999999999999999999", "2:8: count is the number 99999999999999999999: give a whole number from 1 to 9\n"},
		{"not finite", "name: x\nratio: .inf\ninner: {size: .nan}", "2:8: ratio is .inf: give a finite number such as 23.5\n3:15: size is .nan: give a finite number such as 23.5\n"},
		{"number for one of several", "name: x\nkind: 4", "2:7: kind is the number 4: give tall or short\n"},
		{"number for text", "name: 12", "1:7: name is the number 12: give text, in quotes where it looks like something else (\"12\")\n"},
		{"yes", "name: x\non: yes", "2:5: on is \"yes\": give true or false\n"},
		{"list for scalar", "name: [x]\ncount: {a: 1}", "1:7: name is a list: give text\n2:8: count is a mapping: give a whole number from 1 to 9\n"},
		{"scalar for list", "name: x\nitems: 3\npair: 4\ninner: z\nwords: q\ncode: [1]\nfew: 1", "2:8: items is the number 3: give a list\n3:7: pair is the number 4: give a list of 2 values\n4:8: inner is \"z\": give a mapping of keys\n5:8: words is \"q\": give a mapping of keys\n6:7: code is a list: give text\n7:6: few is the number 1: give a mapping of keys, or a list of them\n"},
		{"empty list", "name: x\nitems: []", "2:8: items is an empty list: give at least 1\n"},
		{"no value", "name:\nitems:\n  -\n", "1:6: name has no value: give text, or leave the key out\n3:4: items item 1 has no value: give a mapping of keys, or leave the key out\n"},
		{"text's own error", "name: x\ncode: abcd", "2:7: code is \"abcd\": give three characters\n"},
		{"merge key", "name: x\ninner: &i {size: 1}\nitems: [{<<: *i}]", "3:10: merge keys (<<) are not supported: write the keys out\n"},
		{"key is a list", "name: x\n? [a]\n: b", "2:3: a key must be a word, not a list\n"},
		{"member of a list", "name: x\nitems: [{size: 1}, {size: a}, 4]", "2:27: size is \"a\": give a number\n2:31: items item 3 is the number 4: give a mapping of keys\n"},
		{"root", "- a", "1:1: the file is a list: give a mapping of keys\n"},

		{"empty", "", "1:1: the file is empty: give at least bridges and places\n"},
		{"comments", "# nothing\n", "1:1: the file is empty: give at least bridges and places\n"},
		{"null", "~\n", "1:1: the file is empty: give at least bridges and places\n"},
		{"second document", "name: x\n---\nname: y", "2:1: a second document begins here: keep everything in one document, without ---\n"},
		{"second document is damaged", "name: x\n---\nname: [", "3:1: a value is missing here: close every [ and { and give each - and each comma something\n"},
		{"indent", "name: x\ninner:\n  size: 1\n bad: 2", "4:2: a key was expected here: give each key of one mapping the same indent, and quote text after which more follows (it began on line 1)\n"},
		{"colon", "name: a: b", "1:8: a second colon in one line: put text that holds a colon in quotes\n"},
		{"tab", "name: x\ninner:\n\tsize: 1", "3:1: this character cannot begin a value: indent with spaces, not tabs, and put text with special characters in quotes\n"},
		{"quote", "name: 'x", "1:7: text that was opened with a quote does not end: close the quote\n"},
		{"brace", "name: x\ninner: {size: 1", "2:8: a mapping that was opened with { does not end: close it with }\n"},
		{"bracket", "name: x\npair: [1, 2\n", "2:7: a list that was opened with [ does not end: close it with ]\n"},
		{"no colon", "name: x\ncount\nkind: tall", "2:1: a colon is missing after a key: write key: value\n"},
		{"alias", "name: *x", "1:7: the alias has no anchor of that name before it: define it with & first\n"},
		{"control character", "name: x\nkind: \x01", "2:7: not YAML: control characters are not allowed (value: 1)\n"},
		{"not UTF-8", "name: x\nkind: \xff", "2:7: not YAML: invalid leading UTF-8 octet (value: 255)\n"},
		{"version", "%YAML 3.0\n---\nname: x", "1:1: not YAML: found incompatible YAML document\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, got := decode(t, tt.text); got != tt.want {
				t.Errorf("%q gives\n%swant\n%s", tt.text, got, tt.want)
			}
		})
	}
}

// A billion values out of a few lines end at the bound on values.
func TestAliasesOfAliases(t *testing.T) {
	type deep struct {
		A []string     `yaml:"a"`
		B [][]string   `yaml:"b"`
		C [][][]string `yaml:"c"`
	}
	text := "a: &a [" + strings.Repeat("x, ", 999) + "x]\n" +
		"b: &b [" + strings.Repeat("*a, ", 999) + "*a]\n" +
		"c: [" + strings.Repeat("*b, ", 999) + "*b]\n"
	d, ok := Parse([]byte(text))
	if !ok {
		t.Fatal(d.Problems())
	}
	var out deep
	d.Decode(&out)
	if p := d.Problems(); len(p) != 1 || !strings.Contains(p[0].Message, "aliases of aliases") {
		t.Errorf("got %v, want one problem", p)
	}
}

func TestTooLong(t *testing.T) {
	d, ok := Parse(make([]byte, MaxBytes+1))
	if ok || len(d.Problems()) != 1 {
		t.Errorf("got %v", d.Problems())
	}
}

// What only follows from a known problem is not reported.
func TestReportOnlyCauses(t *testing.T) {
	d, _ := Parse([]byte("a:\n  b: 1\nc: [1, 2]\n"))
	d.Report(Path{"a", "b"}, "first")
	d.Report(Path{"a", "b"}, "same value")
	d.Report(Path{"a"}, "what holds it")
	d.Report(Path{"a", "b", "x"}, "inside it")
	d.Report(Path{"c", 1}, "another")
	var got []string
	for _, p := range d.Problems() {
		got = append(got, fmt.Sprintf("%d:%d %s", p.Line, p.Column, p.Message))
	}
	if s := strings.Join(got, "; "); s != "2:6 first; 2:6 inside it; 3:8 another" {
		t.Errorf("got %s", s)
	}
	if !d.Faulty(Path{"a"}) || d.Faulty(Path{"c", 0}) {
		t.Error("Faulty does not tell which values have problems")
	}
}

func TestPath(t *testing.T) {
	p := Path{"rules", 2, "limit"}
	a, b := p.With("watch"), p.With("above")
	if a.String() != "rules[2].limit.watch" || b.String() != "rules[2].limit.above" {
		t.Errorf("With shares memory: %v, %v", a, b)
	}
	for want, p := range map[string]Path{"the file": nil, "c item 1 item 3": {"a", 0, "c", 0, 2}} {
		if got := p.Name(); got != want {
			t.Errorf("Name of %v is %q, want %q", p, got, want)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"channels", "circumference_cm", "id", "rate"}
	for word, want := range map[string]string{
		"chanels": "channels", "Channels": "channels", "cahnnels": "channels", "circumference": "circumference_cm",
		"ib": "id", "rates": "rate", "xyz": "", "": "", strings.Repeat("a", 500): "",
	} {
		if got := Nearest(word, known); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

// Nesting has an end, and so has the memory that it takes.
func TestTooDeep(t *testing.T) {
	for _, text := range []string{strings.Repeat("[", 200_000), strings.Repeat("{a: ", 100_000), strings.Repeat("- ", 100_000)} {
		if d, ok := Parse([]byte(text)); ok || len(d.Problems()) != 1 {
			t.Errorf("%.10s…: %v", text, d.Problems())
		}
	}
}
