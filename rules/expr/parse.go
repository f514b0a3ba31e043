package expr

import "strings"

// parser builds the tree by recursive descent, one method per level of
// precedence. After a problem it goes on at the next logical operator, comma or
// closing parenthesis, so that one mistake does not hide the next.
type parser struct {
	tokens   []token
	next     int
	nodes    int
	depth    int
	tooLarge bool // a limit was passed: the rest is not read
	problems *problems
}

// parse returns the tree of src, with holes where problems were noted, or nil
// where src is empty or too large to look at.
func parse(src string, ps *problems) *node {
	p := parser{tokens: lex(src, ps), problems: ps}
	if p.peek().kind == tokenEnd {
		p.problem(p.peek(), "the expression is empty: write a condition, such as ankle.pressure > 30 mmHg, or leave the key out")
		return nil
	}
	root := p.whole()
	if t := p.peek(); t.is(")") {
		p.problem(t, "this ) closes nothing: take it out, or put a ( before what it ends")
	}
	if p.tooLarge {
		return nil
	}
	return root
}

func (p *parser) peek() token { return p.tokens[p.next] }

// take consumes the next token. The tokenEnd stays.
func (p *parser) take() token {
	t := p.tokens[p.next]
	if t.kind != tokenEnd {
		p.next++
	}
	return t
}

func (p *parser) problem(t token, text string, args ...any) {
	if !p.tooLarge {
		p.problems.add(t.at, text, args...)
	}
}

// give up reading.
func (p *parser) stop(t token, text string, args ...any) {
	p.problem(t, text, args...)
	p.tooLarge = true
	p.next = len(p.tokens) - 1
}

func (p *parser) node(o op, at token, args ...*node) *node {
	if p.nodes++; p.nodes > MaxNodes {
		p.stop(at, "the expression is too long: it may have %d numbers, names and operators; split it into two rules", MaxNodes)
	}
	return &node{op: o, at: at.at, args: args}
}

// nested reads what is one level deeper.
func (p *parser) nested(at token, read func() *node) *node {
	if p.depth++; p.depth > MaxDepth {
		p.stop(at, "the expression is nested too deep: %d levels are allowed; take out parentheses that are not needed", MaxDepth)
		return &node{op: opHole}
	}
	n := read()
	p.depth--
	return n
}

// chain reads operands joined by any of the symbols, grouped from the left.
func (p *parser) chain(operand func() *node, symbols ...string) *node {
	n := operand()
	for p.peek().is(symbols...) {
		t := p.take()
		at := n.at
		n = p.node(binary[t.text], t, n, operand())
		n.at = at
	}
	return n
}

// whole reads an expression that no comma should follow.
func (p *parser) whole() *node {
	n := p.or()
	for t := p.peek(); t.is(","); t = p.peek() {
		p.problem(p.take(), "a comma stands only between the arguments of a function; decimals are written with a point, such as 4.5")
		n = p.node(opHole, t, n, p.or())
	}
	return n
}

func (p *parser) or() *node  { return p.chain(p.and, "or") }
func (p *parser) and() *node { return p.chain(p.not, "and") }

func (p *parser) not() *node {
	if !p.peek().is("not") {
		return p.comparison()
	}
	t := p.take()
	return p.node(opNot, t, p.nested(t, p.not))
}

var comparisons = []string{"<", "<=", ">", ">=", "==", "!="}

func (p *parser) comparison() *node {
	n := p.sum()
	if t := p.peek(); t.is(comparisons...) {
		p.take()
		at := n.at
		n = p.node(binary[t.text], t, n, p.sum())
		n.at = at
	}
	if t := p.peek(); t.is(comparisons...) {
		return p.recover(t, "comparisons do not chain: write both and join them with and, such as 20 < x and x < 40", n)
	}
	return n
}

func (p *parser) sum() *node     { return p.chain(p.product, "+", "-") }
func (p *parser) product() *node { return p.chain(p.sign, "*", "/") }

func (p *parser) sign() *node {
	if !p.peek().is("-") {
		return p.operand()
	}
	t := p.take()
	return p.node(opNegate, t, p.nested(t, p.sign))
}

// recover notes a problem, skips to where reading can go on, and returns a hole
// that keeps what was read, so that it is still checked.
func (p *parser) recover(t token, text string, keep ...*node) *node {
	p.problem(t, "%s", text)
	return p.skip(t, keep...)
}

func (p *parser) skip(t token, keep ...*node) *node {
	for open := 0; ; p.take() {
		switch next := p.peek(); {
		case next.kind == tokenEnd, open == 0 && next.is("and", "or", ")", ","):
			return p.node(opHole, t, keep...)
		case next.is("("):
			open++
		case next.is(")"):
			open--
		}
	}
}

// operand reads a number, a name, a call or an expression in parentheses.
func (p *parser) operand() *node {
	t := p.peek()
	var n *node
	switch {
	case t.kind == tokenNumber:
		n = p.number()
	case t.kind == tokenWord:
		n = p.word()
	case t.is("("):
		n = p.parenthesised()
	case t.kind == tokenBad:
		return p.skip(t)
	case t.kind == tokenEnd:
		return p.recover(t, "the expression ends where a number or a name should follow")
	case t.is("not"):
		return p.recover(t, "put parentheses round not and what it denies: (not x)")
	case t.is("+"):
		return p.recover(t, "there is no sign +: leave it out")
	default:
		return p.recover(t, "a number or a name should stand before "+t.text)
	}
	switch t = p.peek(); {
	case t.kind == tokenNumber || t.kind == tokenWord || t.is("(", "not"):
		return p.recover(t, "an operator is missing before "+t.text+", such as and, > or +", n)
	case t.kind == tokenBad:
		return p.skip(t, n)
	}
	return n
}

func (p *parser) number() *node {
	t := p.take()
	n := p.node(opNumber, t)
	n.value = t.value
	switch u := p.peek(); {
	case u.kind == tokenUnit:
		n.unit = p.take().unit
	case u.kind == tokenWord && !p.tokens[p.next+1].is("(") && u.text != "true" && u.text != "false" && !strings.Contains(u.text, "."):
		p.take()
		if like := unitLike(u.text); like != nil {
			p.problem(u, "%s is not a unit: write %s", u.text, like.name)
		} else {
			p.problem(u, "%s is not a unit: the units are %s", u.text, unitNames())
		}
		n.op = opHole
	}
	return n
}

func (p *parser) parenthesised() *node {
	t := p.take()
	n := p.nested(t, p.whole)
	p.closing(t, "this ( is never closed: put a ) after what it begins")
	return n
}

// closing takes the ) that belongs to open.
func (p *parser) closing(open token, missing string) {
	if p.peek().is(")") {
		p.take()
		return
	}
	p.problem(open, "%s", missing)
}
