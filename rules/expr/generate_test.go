package expr

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"pgregory.net/rapid"
	"weald/ingest/sample"
)

// generator draws expressions that are well typed over ward.
type generator struct {
	t     *rapid.T
	known bool // may use known( )
}

// What signals and units there are of each dimension.
var (
	signalsOf = map[dim][]string{
		pressure: {"ankle.pressure", "calf.pressure", "cuff.pressure", "mat.peak"},
		area:     {"mat.area"}, force: {"mat.load"}, length: {"mat.width"}, duration: {"hold.time"},
		plain:  {"mat.share", "room.humidity"},
		settle: {"ankle.settling"}, frequency: {"limb.stride"}, gradient: {"mat.gradient"},
	}
	unitsOf = map[dim][]string{
		pressure: {"mmHg", "kPa", "Pa"}, area: {"mm2", "cm2"}, force: {"N"}, length: {"mm", "cm", "m"},
		duration: {"ms", "s", "min", "h"}, plain: {"1", "%"},
	}
	// What is only a signal's unit is written as a quotient.
	quotients = map[dim][2]dim{settle: {pressure, duration}, frequency: {plain, duration}, gradient: {pressure, length}}

	dims = []dim{pressure, area, force, length, duration, plain, settle, frequency, gradient}

	settle, frequency, gradient = dim{pressure: 1, time: -1}, dim{time: -1}, dim{pressure: 1, length: -1}
)

func pick[T any](g *generator, label string, from ...T) T {
	return rapid.SampledFrom(from).Draw(g.t, label)
}

func (g *generator) literal(unit string) *tree {
	v := float64(rapid.IntRange(0, 40).Draw(g.t, "number"))
	return &tree{op: "number", v: v / pick(g, "denominator", 1.0, 1, 2, 10), unit: unit}
}

func (g *generator) number(d dim, depth int) *tree {
	if depth == 0 {
		if rapid.Bool().Draw(g.t, "signal") {
			return &tree{op: "signal", name: pick(g, "name", signalsOf[d]...)}
		}
		if q, ok := quotients[d]; ok {
			return &tree{op: "/", args: []*tree{g.literal(pick(g, "unit", unitsOf[q[0]]...)), g.literal(pick(g, "unit", unitsOf[q[1]]...))}}
		}
		return g.literal(pick(g, "unit", unitsOf[d]...))
	}
	depth--
	switch kind := pick(g, "kind", "leaf", "neg", "abs", "+", "-", "min", "max", "bare", "*", "/", "of", "ratio"); kind {
	case "neg", "abs":
		return &tree{op: kind, args: []*tree{g.number(d, depth)}}
	case "+", "-":
		return g.sum(kind, g.number(d, depth), g.number(d, depth))
	case "min", "max":
		t := &tree{op: kind}
		for range rapid.IntRange(2, 4).Draw(g.t, "arguments") {
			t.args = append(t.args, g.number(d, depth))
		}
		return t
	case "bare": // a number that takes the unit of the signal it is added to
		name := pick(g, "name", signalsOf[d]...)
		if name != "room.humidity" {
			bare := g.literal(ward.signals[name].Unit)
			bare.name = "bare"
			return g.sum(pick(g, "sign", "+", "-"), &tree{op: "signal", name: name}, bare)
		}
	case "*":
		return g.sum(kind, g.number(d, depth), g.number(plain, depth))
	case "/":
		return &tree{op: kind, args: []*tree{g.number(d, depth), g.number(plain, depth)}}
	case "of":
		switch d {
		case pressure:
			return &tree{op: "/", args: []*tree{g.number(force, depth), g.number(area, depth)}}
		case force:
			return g.sum("*", g.number(pressure, depth), g.number(area, depth))
		case area:
			return g.sum("*", g.number(length, depth), g.number(length, depth))
		case plain:
			e := pick(g, "of", dims...)
			return &tree{op: "/", args: []*tree{g.number(e, depth), g.number(e, depth)}}
		}
	}
	return g.number(d, 0)
}

// sum joins two numbers in either order.
func (g *generator) sum(op string, x, y *tree) *tree {
	if rapid.Bool().Draw(g.t, "swapped") {
		x, y = y, x
	}
	return &tree{op: op, args: []*tree{x, y}}
}

func (g *generator) condition(depth int) *tree {
	kinds := []string{"truth", "true", "compare", "compare"}
	if depth > 0 {
		kinds = append(kinds, "and", "or", "not", "and", "or", "==", "!=")
		if g.known {
			kinds = append(kinds, "known", "decided")
		}
	}
	switch kind := pick(g, "condition", kinds...); kind {
	case "truth":
		return &tree{op: kind, name: pick(g, "name", "still", "wrapped")}
	case "true":
		return &tree{op: pick(g, "constant", "true", "false")}
	case "compare":
		d := pick(g, "dimension", dims...)
		op := pick(g, "comparison", "<", "<=", ">", ">=")
		return &tree{op: op, args: []*tree{g.number(d, depth), g.number(d, depth)}}
	case "known":
		return &tree{op: kind, args: []*tree{g.number(pick(g, "dimension", dims...), depth-1)}}
	case "not", "decided":
		return &tree{op: kind, args: []*tree{g.condition(depth - 1)}}
	default:
		return &tree{op: kind, args: []*tree{g.condition(depth - 1), g.condition(depth - 1)}}
	}
}

// readings draws values for ward; small whole numbers, so that limits are met
// exactly now and then.
func (g *generator) readings() ([]float64, []sample.Truth) {
	v := make([]float64, numbers)
	for i := range v {
		if v[i] = float64(rapid.IntRange(-5, 40).Draw(g.t, "reading")); v[i] < -2 {
			v[i] = math.NaN()
		}
	}
	truth := rapid.SampledFrom([]sample.Truth{sample.No, sample.Maybe, sample.Yes})
	return v, []sample.Truth{truth.Draw(g.t, "still"), truth.Draw(g.t, "wrapped")}
}

// text writes t with every pair of parentheses there can be.
func text(t *tree) string {
	args := make([]string, len(t.args))
	for i, a := range t.args {
		args[i] = text(a)
	}
	switch t.op {
	case "number":
		s := strconv.FormatFloat(t.v, 'g', -1, 64)
		if t.unit == "1" || t.name == "bare" {
			return s
		}
		return s + t.unit
	case "signal", "truth":
		return t.name
	case "true", "false":
		return t.op
	case "neg":
		return "(-" + args[0] + ")"
	case "not":
		return "(!" + args[0] + ")"
	case "abs", "min", "max", "known":
		return t.op + "(" + strings.Join(args, ",") + ")"
	case "decided":
		return "known(" + args[0] + ")"
	}
	return fmt.Sprintf("(%s %s %s)", args[0], t.op, args[1])
}
