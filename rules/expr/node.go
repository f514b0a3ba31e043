package expr

// An op is what a node does with its arguments.
type op uint8

const (
	opHole   op = iota // stands for what could not be read; a problem was noted
	opNumber           // value, unit
	opBool             // value 0 or 1
	opName             // name
	opOr
	opAnd
	opNot
	opLess
	opLessEqual
	opGreater
	opGreaterEqual
	opEqual
	opNotEqual
	opAdd
	opSubtract
	opMultiply
	opDivide
	opNegate
	opAbs
	opMin
	opMax
	opKnown
)

// How tightly an operator binds; a looser argument needs parentheses.
const (
	levelOr = iota
	levelAnd
	levelNot
	levelCompare
	levelSum
	levelProduct
	levelSign
	levelAtom
)

// operators says how each op that is not a call is written.
var operators = map[op]struct {
	symbol string
	level  int
}{
	opOr:           {"or", levelOr},
	opAnd:          {"and", levelAnd},
	opNot:          {"not", levelNot},
	opLess:         {"<", levelCompare},
	opLessEqual:    {"<=", levelCompare},
	opGreater:      {">", levelCompare},
	opGreaterEqual: {">=", levelCompare},
	opEqual:        {"==", levelCompare},
	opNotEqual:     {"!=", levelCompare},
	opAdd:          {"+", levelSum},
	opSubtract:     {"-", levelSum},
	opMultiply:     {"*", levelProduct},
	opDivide:       {"/", levelProduct},
	opNegate:       {"-", levelSign},
}

// binary maps the symbols of operators with two sides to their ops.
var binary = map[string]op{
	"or": opOr, "and": opAnd,
	"<": opLess, "<=": opLessEqual, ">": opGreater, ">=": opGreaterEqual, "==": opEqual, "!=": opNotEqual,
	"+": opAdd, "-": opSubtract, "*": opMultiply, "/": opDivide,
}

// A function is called by its name with at least min arguments, and no more
// than that unless it is variadic.
type function struct {
	op       op
	name     string
	min      int
	variadic bool
}

var functions = []function{
	{opAbs, "abs", 1, false},
	{opKnown, "known", 1, false},
	{opMax, "max", 2, true},
	{opMin, "min", 2, true},
}

// example returns a call of f.
func (f *function) example() string {
	if f.variadic {
		return f.name + "(x, y)"
	}
	return f.name + "(x)"
}

// functionNamed returns the function, or nil.
func functionNamed(name string) *function {
	for i := range functions {
		if functions[i].name == name {
			return &functions[i]
		}
	}
	return nil
}

// String returns how o is written, for messages.
func (o op) String() string {
	for _, f := range functions {
		if f.op == o {
			return f.name
		}
	}
	return operators[o].symbol
}

// A node is one number, name, operator or call. The parser makes it; the
// checker adds its type.
type node struct {
	op    op
	at    int // byte offset of its first character, parentheses aside
	name  string
	value float64
	unit  *unit // of an opNumber; nil where none is written
	args  []*node

	typ  typ
	slot int
	// The value has to be multiplied by num/den to be in the unit that the
	// parent works in. Zero stands for 1/1.
	num, den float64
}

// convert makes the parent see n in units of to instead of from.
func (n *node) convert(from, to scale) {
	if n.den == 0 {
		n.num, n.den = 1, 1
	}
	n.num *= from.num * to.den
	n.den *= from.den * to.num
}
