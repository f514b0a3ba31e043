package expr

import "weald/ingest/sample"

// What an expression is compiled to. The slices are those of Eval; passing
// them by value keeps everything off the heap. No number depends on a truth.
type (
	numberFunc func(v []float64) float64
	truthFunc  func(v []float64, t []sample.Truth) sample.Truth
)

// An operand is what a number compiles to, in one of three shapes, so that the
// usual comparison of a signal with a constant takes one call.
type operand struct {
	shape shape
	slot  int     // of a shapeSlot
	value float64 // of a shapeConstant
	eval  numberFunc
}

type shape uint8

const (
	shapeAny shape = iota
	shapeSlot
	shapeConstant
)

// builder compiles a tree that was checked.
type builder struct{ problems *problems }

func constant(v float64) operand {
	return operand{shapeConstant, 0, v, func([]float64) float64 { return v }}
}

// finite returns v, or NaN where it is infinite.
func finite(v float64) float64 {
	if v-v != 0 {
		return sample.Unknown
	}
	return v
}

// number compiles n into the units of its parent.
func (b *builder) number(n *node) operand {
	x := b.unconverted(n)
	if n.num != n.den {
		x = convert(x, n.num, n.den)
	}
	if !n.typ.constant || x.shape == shapeConstant && x.value == x.value {
		return x
	}
	v := x.eval(nil)
	if sample.IsUnknown(v) && len(b.problems.list) == 0 {
		b.problems.add(n.at, "%q is too large to reckon with: the largest number is about 1.8e308", brief(n))
	}
	return constant(v)
}

func convert(x operand, num, den float64) operand {
	f := x.eval
	if den == 1 {
		return operand{eval: func(v []float64) float64 { return finite(f(v) * num) }}
	}
	return operand{eval: func(v []float64) float64 { return finite(f(v) * num / den) }}
}

func (b *builder) unconverted(n *node) operand {
	switch n.op {
	case opNumber:
		return constant(n.value)
	case opName:
		i := n.slot
		return operand{shapeSlot, i, 0, func(v []float64) float64 { return finite(v[i]) }}
	case opMin, opMax:
		return b.choice(n)
	}
	x := b.number(n.args[0])
	if len(n.args) == 1 {
		return operand{eval: monadic(n.op, x.eval)}
	}
	y := b.number(n.args[1])
	if n.op == opDivide && y.shape == shapeConstant && y.value == 0 {
		b.problems.add(n.args[1].at, "%q divides by zero, which is never known: take it out", brief(n))
	}
	return operand{eval: dyadic(n.op, x, y)}
}

// choice compiles min and max.
func (b *builder) choice(n *node) operand {
	x := b.number(n.args[0]).eval
	for _, a := range n.args[1:] {
		x = extreme(n.op, x, b.number(a).eval)
	}
	return operand{eval: x}
}

func extreme(o op, x, y numberFunc) numberFunc {
	if o == opMin {
		return func(v []float64) float64 { return min(x(v), y(v)) }
	}
	return func(v []float64) float64 { return max(x(v), y(v)) }
}

func monadic(o op, x numberFunc) numberFunc {
	if o == opAbs {
		return func(v []float64) float64 {
			if r := x(v); r < 0 {
				return -r
			} else {
				return r
			}
		}
	}
	return func(v []float64) float64 { return -x(v) }
}

func dyadic(o op, x, y operand) numberFunc {
	f, g := x.eval, y.eval
	switch o {
	case opAdd:
		return func(v []float64) float64 { return finite(f(v) + g(v)) }
	case opSubtract:
		if x.shape == shapeSlot && y.shape == shapeSlot {
			i, j := x.slot, y.slot
			// An infinity in either makes the difference infinite or NaN.
			return func(v []float64) float64 { return finite(v[i] - v[j]) }
		}
		return func(v []float64) float64 { return finite(f(v) - g(v)) }
	case opMultiply:
		return func(v []float64) float64 { return finite(f(v) * g(v)) }
	}
	// Zero divided by zero is NaN, all else by zero infinite: both are unknown.
	return func(v []float64) float64 { return finite(f(v) / g(v)) }
}
