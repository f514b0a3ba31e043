package expr

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// reckoned draws what is reckoned of numbers without a unit, with its value.
func reckoned(t *rapid.T, depth int) (text string, v float64) {
	if depth == 0 {
		v = float64(rapid.IntRange(1, 9).Draw(t, "number"))
		return fmt.Sprint(v), v
	}
	a, x := reckoned(t, depth-1)
	b, y := reckoned(t, rapid.IntRange(0, depth-1).Draw(t, "depth"))
	switch op := rapid.SampledFrom([]string{"+", "-", "*", "/", "min", "max", "abs", "neg"}).Draw(t, "op"); op {
	case "+":
		return "(" + a + " + " + b + ")", x + y
	case "-":
		return "(" + a + " - " + b + ")", x - y
	case "*":
		return "(" + a + " * " + b + ")", x * y
	case "/":
		if y == 0 {
			return a, x
		}
		return "(" + a + " / " + b + ")", x / y
	case "min":
		return "min(" + a + ", " + b + ")", min(x, y)
	case "max":
		return "max(" + a + ", " + b + ")", max(x, y)
	case "abs":
		return "abs(" + a + ")", math.Abs(x)
	default:
		return "-" + a, -x
	}
}

// Numbers without a unit are reckoned among themselves as numbers, and what comes of them is
// in the unit of the signal that it stands beside, whatever that is: on the value itself the
// signal is not beyond it, a step beside it it is.
func TestNumbersReckonAmongThemselves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text, v := reckoned(t, 3)
		for name, slot := range map[string]int{"ankle.pressure": ankle, "cuff.pressure": cuff, "hold.time": held, "mat.area": surface, "mat.share": share, "limb.stride": stride, "ankle.settling": settling} {
			above, problems := Compile(name+" > "+text, ward.resolve, ward.names)
			below, more := Compile(text+" > "+name, ward.resolve, ward.names)
			if len(problems)+len(more) > 0 {
				t.Fatalf("%s > %s: %v, %v", name, text, problems, more)
			}
			values, truths := readings()
			for _, c := range []struct {
				at       float64
				up, down sample.Truth
			}{
				{v, sample.No, sample.No}, {math.Nextafter(v, math.Inf(1)), sample.Yes, sample.No}, {math.Nextafter(v, math.Inf(-1)), sample.No, sample.Yes},
			} {
				values[slot] = c.at
				if up, down := above.Eval(values, truths), below.Eval(values, truths); up != c.up || down != c.down {
					t.Fatalf("%s at %v beside %s: above %v, below %v", name, c.at, text, up, down)
				}
			}
		}
	})
}

// Only what is inside of something is nested: any number of parentheses, calls, signs and
// denials side by side is as deep as one.
func TestSideBySideIsNotNested(t *testing.T) {
	for _, one := range []string{"(still)", "not still", "known(still)", "(-1 < abs(2))", "!(-ankle.pressure > -(3))"} {
		for _, n := range []int{1, MaxDepth + 1} {
			text := strings.Repeat(one+" and ", n-1) + one
			if program, problems := compiled(t, text); program == nil {
				t.Errorf("%d of %s: %v", n, one, problems)
			}
		}
	}
}
