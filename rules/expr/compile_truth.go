package expr

import "weald/ingest/sample"

// truth compiles a condition.
func (b *builder) truth(n *node) truthFunc {
	switch n.op {
	case opBool:
		answer := sample.Of(n.value != 0)
		return func([]float64, []sample.Truth) sample.Truth { return answer }
	case opName:
		i := n.slot
		return func(_ []float64, t []sample.Truth) sample.Truth { return t[i] }
	case opKnown:
		return b.known(n.args[0])
	case opNot:
		x := b.truth(n.args[0])
		return func(v []float64, t []sample.Truth) sample.Truth { return x(v, t).Not() }
	case opAnd, opOr, opEqual, opNotEqual:
		return logic(n.op, b.truth(n.args[0]), b.truth(n.args[1]))
	}
	return compare(n.op, b.number(n.args[0]), b.number(n.args[1]))
}

func (b *builder) known(n *node) truthFunc {
	if n.typ.class == classTruth {
		x := b.truth(n)
		return func(v []float64, t []sample.Truth) sample.Truth { return sample.Of(x(v, t) != sample.Maybe) }
	}
	x := b.number(n).eval
	return func(v []float64, _ []sample.Truth) sample.Truth { return sample.Of(!sample.IsUnknown(x(v))) }
}

func logic(o op, x, y truthFunc) truthFunc {
	switch o {
	case opAnd:
		return func(v []float64, t []sample.Truth) sample.Truth {
			a := x(v, t)
			if a == sample.No {
				return a // whatever the other side is
			}
			return a.And(y(v, t))
		}
	case opOr:
		return func(v []float64, t []sample.Truth) sample.Truth {
			a := x(v, t)
			if a == sample.Yes {
				return a
			}
			return a.Or(y(v, t))
		}
	case opEqual:
		// With yes +1, no -1 and unknown 0, the product says whether two
		// truths agree.
		return func(v []float64, t []sample.Truth) sample.Truth { return x(v, t) * y(v, t) }
	}
	return func(v []float64, t []sample.Truth) sample.Truth { return -x(v, t) * y(v, t) }
}

// An ordering has the answer of a comparison for each way two numbers can be.
type ordering struct{ less, equal, greater sample.Truth }

// of compares x with y. No branch is taken where either is NaN.
func (o ordering) of(x, y float64) sample.Truth {
	switch {
	case x < y:
		return o.less
	case x > y:
		return o.greater
	case x == y:
		return o.equal
	}
	return sample.Maybe
}

var orderings = map[op]ordering{
	opLess:         {sample.Yes, sample.No, sample.No},
	opLessEqual:    {sample.Yes, sample.Yes, sample.No},
	opGreater:      {sample.No, sample.No, sample.Yes},
	opGreaterEqual: {sample.No, sample.Yes, sample.Yes},
}

func compare(o op, x, y operand) truthFunc {
	order := orderings[o]
	if x.shape == shapeConstant {
		x, y = y, x
		order.less, order.greater = order.greater, order.less
	}
	f, g := x.eval, y.eval
	switch {
	case x.shape == shapeSlot && y.shape == shapeConstant:
		i, limit := x.slot, y.value
		return func(v []float64, _ []sample.Truth) sample.Truth { return order.of(finite(v[i]), limit) }
	case y.shape == shapeConstant:
		limit := y.value
		return func(v []float64, _ []sample.Truth) sample.Truth { return order.of(f(v), limit) }
	}
	return func(v []float64, _ []sample.Truth) sample.Truth { return order.of(f(v), g(v)) }
}
