package expr

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// brief is the text of n, cut where it would drown a message.
func brief(n *node) string {
	const most = 40
	if text := format(n); len(text) <= most {
		return text
	} else {
		return text[:most] + "…"
	}
}

// kindOf says what a value of type t is, to follow "is".
func kindOf(t typ) string {
	switch {
	case t.class == classTruth:
		return "a condition"
	case t.bare:
		return "a number without a unit"
	}
	return t.dim.String()
}

// comparing says how to make a condition of n, a number.
func comparing(n *node) string {
	text, u := format(n), n.typ.unit
	switch {
	case len(text) > 40 || u == nil:
		return "compare it with something"
	case n.typ.constant:
		return "compare a signal with it, such as ankle.pressure > " + text
	case u == one:
		return "compare it, such as " + text + " > 2"
	}
	return "compare it, such as " + text + " > 30 " + u.name
}

// withUnit says how to write bare in u.
func withUnit(bare *node, u *unit) string {
	switch {
	case bare.op == opNumber && u == percent:
		return fmt.Sprintf("write %s %% or %s %%, whichever is meant", number(bare.value), number(100*bare.value))
	case bare.op == opNumber:
		return "write for instance " + format(bare) + " " + u.name
	}
	return "write its units, such as " + u.name
}

// dashRule tells how a subtraction differs from a name.
const dashRule = "a name takes the dashes it touches; to subtract, put blanks round the -"

func strayUnit(name string) string {
	return name + " is a unit and follows a number, such as 30 " + name
}

// unknownName says that there is no signal of that name and what else could
// have been meant.
func unknownName(name string, resolve Resolver, names []string) string {
	problem := "there is no signal " + name + " here: "
	switch {
	case unitNamed(name) != nil:
		return strayUnit(name)
	case functionNamed(name) != nil:
		return name + " is a function and is followed by its arguments, such as " + functionNamed(name).example()
	case dashed(name, resolve):
		return problem + dashRule
	}
	if near := nearest(name, names); near != "" {
		return problem + "did you mean " + near + "?"
	}
	const most = 8
	switch n := len(names); {
	case n == 0:
		return problem + "there are none"
	case n > most:
		return fmt.Sprintf("%sthere are %s and %d more", problem, strings.Join(names[:most], ", "), n-most)
	}
	return problem + "there are " + strings.Join(names, ", ")
}

// dashed reports whether name was meant to be a subtraction: whether a part of
// it before or after a dash is a signal.
func dashed(name string, resolve Resolver) bool {
	for i := range len(name) {
		if name[i] != '-' {
			continue
		}
		for _, part := range []string{name[:i], name[i+1:]} {
			if _, ok := resolve(part); ok {
				return true
			}
		}
	}
	return false
}

// nearest returns the one of names that is spelled most like name, the first of
// equals, or "" if none is like it.
func nearest(name string, names []string) string {
	// Half a name is more likely than a misspelt one.
	for _, n := range names {
		if strings.HasPrefix(n, name+".") || strings.HasSuffix(n, "."+name) {
			return n
		}
	}
	best, least := "", max(1, utf8.RuneCountInString(name)/3)+1
	for _, n := range names {
		if d := distance(name, n); d < least {
			best, least = n, d
		}
	}
	return best
}

// distance returns how many bytes have to be put in, taken out, changed or
// swapped with their neighbour to make b of a.
func distance(a, b string) int {
	rows := [3][]int{make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)}
	before, last, row := rows[0], rows[1], rows[2]
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			row[j+1] = min(last[j+1]+1, row[j]+1, last[j]+cost)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(b)]
}
