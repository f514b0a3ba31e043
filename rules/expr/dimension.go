package expr

import "fmt"

// unify gives the arguments of n, all numbers, one unit to be compared or added
// in, and returns the type of the result, which is bad if there is none. The
// unit is that of the first argument with a signal in it, so that constants are
// converted and readings are not.
func (c *checker) unify(n *node) typ {
	lead := n.args[0]
	for _, a := range n.args[1:] {
		if lead.typ.bare && !a.typ.bare || lead.typ.constant && !a.typ.constant {
			lead = a
		}
	}
	t := lead.typ
	for _, a := range n.args {
		switch {
		case a == lead:
		case a.typ.bare:
			if problem := doubt(a, lead); problem != "" {
				c.problems.add(a.at, "%s", problem)
				t.class = classBad
			}
		case a.typ.dim != lead.typ.dim:
			c.problems.add(max(a.at, lead.at), "%q is %s and %q is %s: only quantities of one kind can be compared, added or chosen from",
				brief(lead), kindOf(lead.typ), brief(a), kindOf(a.typ))
			t.class = classBad
		default:
			if a.typ.scale != lead.typ.scale {
				a.convert(a.typ.scale, lead.typ.scale)
			}
			if !a.typ.constant && a.typ.unit != lead.typ.unit {
				t.unit = nil
			}
		}
	}
	return t
}

// doubt says why bare, a number without a unit, cannot be taken to be in the
// unit of lead; it is empty if it can.
func doubt(bare, lead *node) string {
	t := lead.typ
	switch {
	case t.dim == plain && t.unit == one, t.dim != plain && t.unit != nil && !t.constant:
		return ""
	case t.dim == plain:
		return fmt.Sprintf("%q is in percent, and whether %q is too cannot be told: %s", brief(lead), brief(bare), withUnit(bare, percent))
	}
	problem := fmt.Sprintf("%q is %s, and the unit of %q cannot be told: ", brief(lead), t.dim, brief(bare))
	if t.unit != nil {
		return problem + withUnit(bare, t.unit)
	}
	for _, u := range units {
		if u.dim == t.dim {
			return problem + withUnit(bare, u)
		}
	}
	return problem + "write a product or quotient of numbers with units, such as 3 mmHg / 1 s"
}

// scaled types a product or a quotient. What is multiplied or divided by a
// plain number stays in its unit; all else goes by the base units.
func (c *checker) scaled(n *node) {
	x, y := n.args[0], n.args[1]
	constant := x.typ.constant && y.typ.constant
	switch {
	case y.typ.bare:
		n.typ = x.typ
	case x.typ.bare && n.op == opMultiply:
		n.typ = y.typ
	case y.typ.dim == plain && x.typ.dim != plain:
		toBase(y)
		n.typ = x.typ
	case x.typ.dim == plain && y.typ.dim != plain && n.op == opMultiply:
		toBase(x)
		n.typ = y.typ
	default:
		toBase(x)
		toBase(y)
		d := x.typ.dim.times(y.typ.dim)
		if n.op == opDivide {
			d = x.typ.dim.over(y.typ.dim)
		}
		n.typ = typ{class: classNumber, dim: d, scale: unscaled}
		if d == plain {
			n.typ.unit = one
		}
	}
	if n.typ.constant && !constant && n.typ.dim != plain {
		n.typ.unit = nil // it is that of a number, not of a signal
	}
	n.typ.constant = constant
}

// toBase makes n count base units.
func toBase(n *node) {
	if n.typ.scale != unscaled {
		n.convert(n.typ.scale, unscaled)
	}
}
