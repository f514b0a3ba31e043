package expr

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// loose says how tightly what a tree is made of binds, as the package comment lists it: 0
// for or, the loosest, to 7 for what stands alone.
var loose = map[string]int{
	"or": 0, "and": 1, "not": 2, "<": 3, "<=": 3, ">": 3, ">=": 3, "==": 3, "!=": 3,
	"+": 4, "-": 4, "*": 5, "/": 5, "neg": 6,
}

func binds(t *tree) int {
	if level, ok := loose[t.op]; ok {
		return level
	}
	return 7
}

// A writer writes a tree in one of the many ways there are: with blanks, parentheses that
// are not needed, other spellings, and numbers with more digits than they need.
type writer struct{ t *rapid.T }

func (w writer) chance(of int) bool { return rapid.IntRange(0, of-1).Draw(w.t, "chance") == 0 }

func (w writer) blank() string {
	return rapid.SampledFrom([]string{"", "", " ", "\t", "\n  "}).Draw(w.t, "blank")
}

// at writes t where nothing looser than level stands without parentheses.
func (w writer) at(t *tree, level int) string {
	text := w.blank() + w.bare(t) + w.blank()
	for binds(t) < level || w.chance(12) {
		text, level = w.blank()+"("+text+")"+w.blank(), 0
	}
	return text
}

func (w writer) number(t *tree) string {
	text := strconv.FormatFloat(t.v, rapid.SampledFrom([]byte{'f', 'e', 'E', 'g'}).Draw(w.t, "form"), -1, 64)
	if w.chance(4) {
		text = "00" + text
	}
	if t.unit != "1" && t.name != "bare" {
		text += rapid.SampledFrom([]string{"", " ", "\t"}).Draw(w.t, "blank") + t.unit
	}
	return text
}

func (w writer) bare(t *tree) string {
	switch t.op {
	case "number":
		return w.number(t)
	case "signal", "truth":
		return t.name
	case "true", "false":
		return t.op
	case "neg":
		return "-" + w.at(t.args[0], 6)
	case "not":
		return rapid.SampledFrom([]string{"not ", "!"}).Draw(w.t, "spelling") + w.at(t.args[0], 2)
	case "abs", "min", "max", "known", "decided":
		var args []string
		for _, a := range t.args {
			args = append(args, w.at(a, 0))
		}
		return strings.Replace(t.op, "decided", "known", 1) + w.blank() + "(" + strings.Join(args, ",") + ")"
	}
	level := loose[t.op]
	left := level
	if level == 3 {
		left++ // comparisons do not chain
	}
	symbol := t.op
	switch {
	case t.op == "and" && w.chance(2):
		symbol = "&&"
	case t.op == "or" && w.chance(2):
		symbol = "||"
	}
	return w.at(t.args[0], left) + " " + symbol + " " + w.at(t.args[1], level+1)
}

// differs says where what was read is not the tree, or "".
func differs(t *tree, n *node) string {
	ops := map[string]op{
		"number": opNumber, "signal": opName, "truth": opName, "true": opBool, "false": opBool, "neg": opNegate, "not": opNot,
		"abs": opAbs, "min": opMin, "max": opMax, "known": opKnown, "decided": opKnown, "or": opOr, "and": opAnd, "<": opLess,
		"<=": opLessEqual, ">": opGreater, ">=": opGreaterEqual, "==": opEqual, "!=": opNotEqual, "+": opAdd, "-": opSubtract, "*": opMultiply, "/": opDivide,
	}
	unit := ""
	if n.unit != nil {
		unit = n.unit.name
	}
	switch {
	case ops[t.op] != n.op:
		return t.op + " was read as " + n.op.String()
	case n.op == opName && n.name != t.name:
		return t.name + " was read as " + n.name
	case n.op == opNumber && (n.value != t.v || unit != t.unit && !(unit == "" && (t.unit == "1" || t.name == "bare"))):
		return strconv.FormatFloat(t.v, 'g', -1, 64) + t.unit + " was read as " + format(n)
	case n.op == opBool && (n.value != 0) != (t.op == "true"), len(n.args) != len(t.args):
		return t.op + " was read as " + format(n)
	}
	for i, a := range t.args {
		if d := differs(a, n.args[i]); d != "" {
			return d
		}
	}
	return ""
}

func size(t *tree) int {
	n := 1
	for _, a := range t.args {
		n += size(a)
	}
	return n
}

// However an expression is written, the same tree is read of it: that which was meant. So
// is of its canonical text, and of that again, in which nothing changes. An expression is
// read unless it has more numbers, names and operators than are allowed.
func TestTheTreeThatWasMeant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &generator{t, true}
		meant := g.condition(3)
		text := writer{t}.at(meant, 0)
		var ps problems
		n := parse(text, &ps)
		if (n != nil) != (size(meant) <= MaxNodes) || n != nil && len(ps.list) > 0 {
			t.Fatalf("%q of %d: %v", text, size(meant), ps.list)
		}
		if n == nil {
			return
		}
		if d := differs(meant, n); d != "" {
			t.Fatalf("%q: %s", text, d)
		}
		canonical := format(n)
		again := parse(canonical, &ps)
		if again == nil || len(ps.list) > 0 || differs(meant, again) != "" || format(again) != canonical {
			t.Fatalf("%q\nis %q, and that %v", text, canonical, ps.list)
		}
	})
}

// A node is where its first character is, parentheses aside: a name, a number or a function
// stands in the text at its own place, and an operator begins with its first argument.
func TestWhereNodesAre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &generator{t, true}
		text := writer{t}.at(g.condition(3), 0)
		var ps problems
		root := parse(text, &ps)
		if root == nil {
			t.Skip("too long")
		}
		var look func(n *node)
		look = func(n *node) {
			at := text[n.at:]
			ok := true
			switch n.op {
			case opName, opAbs, opMin, opMax, opKnown:
				ok = strings.HasPrefix(at, n.name) && (n.op == opName || strings.HasPrefix(at, n.op.String()))
			case opNumber:
				ok = isDigit(at[0])
			case opBool:
				ok = at[0] == 't' || at[0] == 'f'
			case opNegate:
				ok = at[0] == '-'
			case opNot:
				ok = at[0] == '!' || at[0] == 'n'
			default:
				ok = n.at == n.args[0].at
			}
			if !ok {
				t.Fatalf("%q: %s is said to be at %d", text, format(n), n.at)
			}
			for _, a := range n.args {
				look(a)
			}
		}
		look(root)
	})
}

// A number of any size is written so that the same bits are read again; one that is too
// small to be told from nothing is nothing, and one that is too large is refused.
func TestNumbersOfAnySize(t *testing.T) {
	read := func(text string) (float64, []Problem) {
		var ps problems
		return lex(text, &ps)[0].value, ps.list
	}
	rapid.Check(t, func(t *rapid.T) {
		v := math.Abs(math.Float64frombits(rapid.Uint64().Draw(t, "bits")))
		if v-v != 0 {
			t.Skip("not finite")
		}
		if got, problems := read(number(v)); math.Float64bits(got) != math.Float64bits(v) || len(problems) > 0 {
			t.Fatalf("%v is written %s and read %v, %v", v, number(v), got, problems)
		}
	})
	for _, v := range []float64{0, math.SmallestNonzeroFloat64, math.MaxFloat64, 1e15, 1e15 - 0.125, 1e-6, math.Nextafter(1e-6, 0)} {
		if got, _ := read(number(v)); got != v {
			t.Errorf("%v is written %s and read %v", v, number(v), got)
		}
	}
	if got, problems := read("1e-999"); got != 0 || len(problems) > 0 {
		t.Errorf("1e-999 is %v, %v", got, problems)
	}
	if _, problems := read(strings.Repeat("9", 400)); len(problems) != 1 {
		t.Errorf("a number of 400 digits: %v", problems)
	}
}
