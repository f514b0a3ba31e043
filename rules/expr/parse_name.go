package expr

import "strings"

// word reads what begins with a name: a signal, a constant or a call.
func (p *parser) word() *node {
	t := p.take()
	switch {
	case p.peek().is("("):
		return p.call(t)
	case t.text == "true" || t.text == "false":
		n := p.node(opBool, t)
		if t.text == "true" {
			n.value = 1
		}
		return n
	case unitNamed(t.text) != nil && !validName(t.text):
		p.problem(t, "%s", strayUnit(t.text))
		return p.node(opHole, t)
	case !validName(t.text):
		p.problem(t, "%q is not a name: a name is small letters, digits, _ and -, in parts joined with points, such as ankle.pressure", t.text)
		return p.node(opHole, t)
	}
	n := p.node(opName, t)
	n.name = t.text
	return n
}

func validName(s string) bool {
	for id := range strings.SplitSeq(s, ".") {
		if id == "" || id[0] == '-' || id[0] == '_' {
			return false
		}
		for i := range len(id) {
			if !isNamePart(id[i]) {
				return false
			}
		}
	}
	return true
}

// call reads the arguments of the function that name is said to be.
func (p *parser) call(name token) *node {
	open := p.take()
	n := p.node(opHole, name)
	n.name = name.text
	if !p.peek().is(")") {
		for more := true; more; more = p.peek().is(",") && p.take().is(",") {
			n.args = append(n.args, p.nested(name, p.or))
		}
	}
	p.closing(open, "this ( is never closed: put a ) after the last argument")
	f := functionNamed(name.text)
	switch got := len(n.args); {
	case f == nil && strings.Contains(name.text, "-"):
		p.problem(name, "there is no function %s: %s", name.text, dashRule)
		return n
	case f == nil:
		p.problem(name, "there is no function %s: there are %s", name.text, functionNames())
		return n
	case got < f.min && f.variadic:
		p.problem(name, "%s takes two arguments or more, such as %s", f.name, f.example())
		return n
	case got != f.min && !f.variadic:
		p.problem(name, "%s takes one argument, such as %s", f.name, f.example())
		return n
	}
	n.op = f.op
	return n
}

func functionNames() string {
	names := make([]string, len(functions))
	for i, f := range functions {
		names[i] = f.name
	}
	return strings.Join(names, ", ")
}
