package expr

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

type tokenKind uint8

const (
	tokenEnd    tokenKind = iota
	tokenBad              // a problem was noted for it
	tokenNumber           // has a value
	tokenUnit             // only ever after a number
	tokenWord             // a name, a function, true or false, or a wrong unit
	tokenSymbol           // an operator, a parenthesis or a comma; text is canonical
)

type token struct {
	kind  tokenKind
	at    int // byte offset
	text  string
	value float64
	unit  *unit
}

// is reports whether t is one of the given symbols.
func (t token) is(symbols ...string) bool {
	if t.kind != tokenSymbol {
		return false
	}
	for _, s := range symbols {
		if t.text == s {
			return true
		}
	}
	return false
}

// lexer cuts a text into tokens. It never gives up: what it cannot read it
// notes and takes for what was probably meant, or for a tokenBad.
type lexer struct {
	src      string
	pos      int
	tokens   []token
	problems *problems
}

// lex returns the tokens of src; the last is a tokenEnd.
func lex(src string, ps *problems) []token {
	l := lexer{src: src, problems: ps}
	for l.blanks(); l.pos < len(src); l.blanks() {
		switch c := src[l.pos]; {
		case isDigit(c):
			l.numberOrName()
		case isLetter(c) || c == '_':
			l.word()
		default:
			l.symbol()
		}
	}
	l.emit(token{kind: tokenEnd, at: len(src)})
	return l.tokens
}

func (l *lexer) emit(t token) { l.tokens = append(l.tokens, t) }

func (l *lexer) blanks() {
	l.pos += len(l.src[l.pos:]) - len(strings.TrimLeft(l.src[l.pos:], " \t\r\n"))
}

// run returns the longest run of bytes from the present position that satisfy
// in.
func (l *lexer) run(in func(byte) bool) string {
	end := l.pos
	for end < len(l.src) && in(l.src[end]) {
		end++
	}
	return l.src[l.pos:end]
}

func (l *lexer) numberOrName() {
	if name := l.run(isNamePart); pointThenLetter(name) {
		l.emit(token{kind: tokenWord, at: l.pos, text: name})
		l.pos += len(name)
		return
	}
	at := l.pos
	digits := l.run(func(c byte) bool { return isDigit(c) || c == '.' })
	l.pos += len(digits)
	text, value := digits, 1.0
	if strings.Count(digits, ".") > 1 || strings.HasSuffix(digits, ".") {
		l.problems.add(at, "%q is not a number: a point stands once, with digits on both sides, such as 0.5", digits)
	} else {
		var err error
		text += l.exponent()
		if value, err = strconv.ParseFloat(text, 64); err != nil {
			l.problems.add(at, "%s is too large for a number", text)
		}
	}
	l.emit(token{kind: tokenNumber, at: at, text: text, value: value})
	l.blanks()
	l.unit()
}

// exponent consumes an exponent if there is one.
func (l *lexer) exponent() string {
	rest := l.src[l.pos:]
	if rest == "" || rest[0] != 'e' && rest[0] != 'E' {
		return ""
	}
	n := 1
	if n < len(rest) && (rest[n] == '+' || rest[n] == '-') {
		n++
	}
	first := n
	for n < len(rest) && isDigit(rest[n]) {
		n++
	}
	if n == first {
		return ""
	}
	l.pos += n
	return rest[:n]
}

// unit consumes the unit after a number if there is one.
func (l *lexer) unit() {
	name := l.run(func(c byte) bool { return isLetter(c) || isDigit(c) })
	if strings.HasPrefix(l.src[l.pos:], "%") {
		name = "%"
	}
	u := unitNamed(name)
	after := l.src[l.pos+len(name):]
	if u == nil || strings.HasPrefix(after, ".") || strings.HasPrefix(after, "_") || strings.HasPrefix(after, "²") {
		return // a word, for the parser to refuse
	}
	if name == "min" && strings.HasPrefix(strings.TrimLeft(after, " "), "(") {
		return // the function
	}
	l.emit(token{kind: tokenUnit, at: l.pos, text: name, unit: u})
	l.pos += len(name)
}

func (l *lexer) word() {
	at := l.pos
	text := l.run(func(c byte) bool { return isNamePart(c) || isLetter(c) })
	l.pos += len(text)
	if strings.HasPrefix(l.src[l.pos:], "²") {
		text += "²" // a unit to be put right by the parser
		l.pos += len("²")
	}
	lower := strings.ToLower(text)
	switch lower {
	case "and", "or", "not", "true", "false":
		if text != lower {
			l.problems.add(at, "write %s in small letters", lower)
		}
		text = lower
	}
	switch text {
	case "and", "or", "not":
		l.emit(token{kind: tokenSymbol, at: at, text: text})
	default:
		l.emit(token{kind: tokenWord, at: at, text: text})
	}
}

// symbols has the ways to write each symbol, the longer before its beginnings.
var symbols = []struct{ written, canonical string }{
	{"&&", "and"}, {"||", "or"},
	{"<=", "<="}, {">=", ">="}, {"==", "=="}, {"!=", "!="},
	{"<", "<"}, {">", ">"}, {"!", "not"},
	{"+", "+"}, {"-", "-"}, {"*", "*"}, {"/", "/"},
	{"(", "("}, {")", ")"}, {",", ","},
}

// mistaken has what other notations write for a symbol of ours.
var mistaken = []struct{ written, canonical string }{
	{"=<", "<="}, {"=>", ">="}, {"&", "and"}, {"|", "or"},
	{"≤", "<="}, {"≥", ">="}, {"≠", "!="}, {"∧", "and"}, {"∨", "or"}, {"¬", "not"},
	{"×", "*"}, {"·", "*"}, {"÷", "/"}, {"−", "-"}, {"–", "-"},
	{"[", "("}, {"]", ")"}, {"{", "("}, {"}", ")"},
}

func (l *lexer) symbol() {
	at, rest := l.pos, l.src[l.pos:]
	for _, s := range symbols {
		if strings.HasPrefix(rest, s.written) {
			l.pos += len(s.written)
			l.emit(token{kind: tokenSymbol, at: at, text: s.canonical})
			return
		}
	}
	for _, s := range mistaken {
		if strings.HasPrefix(rest, s.written) {
			l.pos += len(s.written)
			l.problems.add(at, "write %s instead of %s", s.canonical, s.written)
			l.emit(token{kind: tokenSymbol, at: at, text: s.canonical})
			return
		}
	}
	if rest[0] == '=' {
		l.pos++
		l.problems.add(at, "= does not compare: write ==, <= or >=")
		l.emit(token{kind: tokenBad, at: at})
		return
	}
	_, size := utf8.DecodeRuneInString(rest)
	l.pos += size
	switch c := rest[:size]; c {
	case "%":
		l.problems.add(at, "%% is a unit and follows a number, such as 20 %%")
	case ".":
		l.problems.add(at, "a point stands between digits, such as 0.5, or inside a name")
	case "^":
		l.problems.add(at, "there are no powers: write x * x")
	default:
		l.problems.add(at, "%q has no meaning in an expression", c)
	}
	l.emit(token{kind: tokenBad, at: at})
}

func isDigit(c byte) bool  { return '0' <= c && c <= '9' }
func isLetter(c byte) bool { return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' }

// isNamePart reports whether c may be in a name.
func isNamePart(c byte) bool {
	return 'a' <= c && c <= 'z' || isDigit(c) || c == '_' || c == '-' || c == '.'
}

// pointThenLetter tells a name that begins with a digit from a number.
func pointThenLetter(s string) bool {
	for i := 1; i < len(s); i++ {
		if s[i-1] == '.' && isLetter(s[i]) {
			return true
		}
	}
	return false
}
