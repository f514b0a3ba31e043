package expr

import (
	"math"
	"strconv"
	"strings"
)

// format returns the canonical text of n.
func format(n *node) string {
	var b strings.Builder
	write(&b, n, levelOr)
	return b.String()
}

// write writes n where nothing looser than level can stand without
// parentheses. It writes none that the text did not need, so that the
// canonical text is nested no deeper than the text it comes from.
func write(b *strings.Builder, n *node, level int) {
	if o, ok := operators[n.op]; ok {
		open := o.level < level
		if open {
			b.WriteByte('(')
		}
		writeOperator(b, n, o.symbol, o.level)
		if open {
			b.WriteByte(')')
		}
		return
	}
	switch n.op {
	case opNumber:
		b.WriteString(number(n.value))
		if n.unit != nil {
			b.WriteString(" " + n.unit.name)
		}
	case opBool:
		b.WriteString(strconv.FormatBool(n.value != 0))
	case opName:
		b.WriteString(n.name)
	default:
		b.WriteString(n.op.String() + "(")
		for i, a := range n.args {
			if i > 0 {
				b.WriteString(", ")
			}
			write(b, a, levelOr)
		}
		b.WriteByte(')')
	}
}

func writeOperator(b *strings.Builder, n *node, symbol string, level int) {
	switch first := n.args[0]; {
	case n.op == opNot:
		b.WriteString("not ")
		write(b, first, level)
		return
	case n.op == opNegate && first.op == opNegate:
		b.WriteString("- ") // two signs side by side read like something else
		write(b, first, level)
		return
	case n.op == opNegate:
		b.WriteByte('-')
		write(b, first, level)
		return
	case level == levelCompare:
		write(b, first, level+1) // comparisons do not chain
	default:
		write(b, first, level)
	}
	b.WriteString(" " + symbol + " ")
	write(b, n.args[1], level+1)
}

// number writes v so that reading it gives v again.
func number(v float64) string {
	form := byte('f')
	if v != 0 && (math.Abs(v) < 1e-6 || math.Abs(v) >= 1e15) {
		form = 'e'
	}
	return strconv.FormatFloat(v, form, -1, 64)
}
