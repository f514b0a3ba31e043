package expr

// A class says whether a node answers with a number or a condition.
type class uint8

const (
	classBad class = iota // a problem was noted; say no more about it
	classTruth
	classNumber
)

// A scale is the amount, num/den base units, that a number counts.
type scale struct{ num, den float64 }

var unscaled = scale{1, 1}

// A typ is what is known about a node's value before there is one.
type typ struct {
	class class
	dim   dim
	scale scale
	// unit is what numbers without a unit are taken to be in; nil where they
	// would leave a doubt.
	unit     *unit
	constant bool // has no signal in it
	bare     bool // has no signal and no unit in it
}

// checker finds out the type of every node and where units have to be
// converted. It goes on after a problem, with the type classBad.
type checker struct {
	resolve  Resolver
	names    []string
	problems *problems
	values   []int // the slots met, in the order met
	truths   []int
}

// condition checks a whole expression.
func (c *checker) condition(root *node) {
	if c.check(root); root.typ.class == classNumber {
		c.problems.add(root.at, "%q is %s, not a condition: %s", brief(root), kindOf(root.typ), comparing(root))
	}
}

// check finds the type of n and of everything in it.
func (c *checker) check(n *node) {
	for _, a := range n.args {
		c.check(a)
	}
	switch n.op {
	case opHole:
	case opNumber:
		n.typ = literal(n)
	case opBool:
		n.typ = typ{class: classTruth, constant: true}
	case opName:
		c.name(n)
	case opKnown:
		if a := n.args[0].typ; a.class != classBad {
			n.typ = typ{class: classTruth, constant: a.constant}
		}
	case opOr, opAnd, opNot:
		c.logic(n)
	case opEqual, opNotEqual:
		c.equal(n)
	case opMultiply, opDivide:
		if c.numbers(n) {
			c.scaled(n)
		}
	case opLess, opLessEqual, opGreater, opGreaterEqual:
		if c.numbers(n) {
			if t := c.unify(n); t.class == classNumber {
				n.typ = typ{class: classTruth, constant: t.constant}
			}
		}
	default: // sums, sign, abs, min, max
		if c.numbers(n) {
			n.typ = c.unify(n)
		}
	}
}

// literal types a number. A percentage is at once made the plain number it is.
func literal(n *node) typ {
	t := typ{class: classNumber, constant: true, scale: unscaled, unit: n.unit}
	switch n.unit {
	case nil:
		t.bare, t.unit = true, one
	case percent:
		n.convert(scale{percent.num, percent.den}, unscaled)
		t.unit = one
	default:
		t.dim, t.scale = n.unit.dim, scale{n.unit.num, n.unit.den}
	}
	return t
}

func (c *checker) name(n *node) {
	s, ok := c.resolve(n.name)
	if !ok {
		c.problems.add(n.at, "%s", unknownName(n.name, c.resolve, c.names))
		return
	}
	n.slot = s.Slot
	if s.Truth {
		c.truths = append(c.truths, s.Slot)
		n.typ = typ{class: classTruth}
		return
	}
	u := unitOfSignal(s.Unit)
	if s.Unit == one.name {
		u = one
	}
	if u == nil {
		c.problems.add(n.at, "the signal %s is in %q, and expressions cannot reckon in that: they can in %s", n.name, s.Unit, unitNames())
		return
	}
	c.values = append(c.values, s.Slot)
	n.typ = typ{class: classNumber, dim: u.dim, scale: scale{u.num, u.den}, unit: u}
}

func (c *checker) logic(n *node) {
	t := typ{class: classTruth, constant: true}
	for _, a := range n.args {
		switch a.typ.class {
		case classNumber:
			c.problems.add(a.at, "%s takes conditions, and %q is %s: %s", n.op, brief(a), kindOf(a.typ), comparing(a))
			t.class = classBad
		case classBad:
			t.class = classBad
		}
		t.constant = t.constant && a.typ.constant
	}
	n.typ = t
}

func (c *checker) equal(n *node) {
	x, y := n.args[0], n.args[1]
	switch {
	case x.typ.class == classBad || y.typ.class == classBad:
	case x.typ.class == classNumber && y.typ.class == classNumber:
		why := "two measured numbers are hardly ever equal; write how near is near enough, such as abs(x - y) <= 1 mmHg"
		if n.op == opNotEqual {
			why = "two measured numbers nearly always differ; write how far is too far, such as abs(x - y) > 1 mmHg"
		}
		c.problems.add(n.at, "%s compares conditions only: %s", n.op, why)
	case x.typ.class != y.typ.class:
		c.problems.add(y.at, "%s compares two conditions, and %q is %s where %q is %s: compare like with like",
			n.op, brief(x), kindOf(x.typ), brief(y), kindOf(y.typ))
	default:
		n.typ = typ{class: classTruth, constant: x.typ.constant && y.typ.constant}
	}
}

// numbers reports whether all arguments are numbers, noting those that are
// conditions.
func (c *checker) numbers(n *node) bool {
	ok := true
	for _, a := range n.args {
		if a.typ.class == classTruth {
			c.problems.add(a.at, "%s takes numbers, and %q is a condition: conditions are joined with and, or and not",
				n.op, brief(a))
		}
		ok = ok && a.typ.class == classNumber
	}
	return ok
}
