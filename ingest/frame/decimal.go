package frame

import (
	"math"
	"strconv"
)

// A decimal is a number as it stands in a text: (neg ? -1 : 1) * digits *
// 10^exp. Beyond 19 significant digits, rounded says which way the rest goes.
type decimal struct {
	neg    bool
	digits uint64
	exp    int
	n      int  // significant digits in digits
	up     bool // the first digit that did not fit is 5 or more
	cut    bool // digits did not fit
}

// maxExp bounds exponents far outside what a float64 can hold.
const maxExp = 100_000

// parseDecimal reads the whole of b: an optional sign, digits with at most one
// mark among them, an optional exponent. It returns false where b is anything
// else, an empty text and "inf" and "nan" too.
func parseDecimal(b []byte, mark byte) (d decimal, ok bool) {
	i := 0
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		d.neg = b[i] == '-'
		i++
	}
	seen, fraction := 0, false
	for ; i < len(b); i++ {
		c := b[i] - '0'
		switch {
		case c <= 9:
			seen++
			switch {
			case d.n < 19:
				d.digits = d.digits*10 + uint64(c)
				if d.digits != 0 {
					d.n++
				}
				if fraction {
					d.exp--
				}
				continue
			case !d.cut:
				d.cut, d.up = true, c >= 5
			}
			if !fraction {
				d.exp++
			}
			continue
		case b[i] == mark && !fraction:
			fraction = true
			continue
		}
		break
	}
	if seen == 0 {
		return d, false
	}
	if i == len(b) {
		return d, true
	}
	if b[i] != 'e' && b[i] != 'E' {
		return d, false
	}
	i++
	minus := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		minus = b[i] == '-'
		i++
	}
	if i == len(b) {
		return d, false
	}
	e := 0
	for ; i < len(b); i++ {
		c := b[i] - '0'
		if c > 9 {
			return d, false
		}
		e = min(e*10+int(c), maxExp)
	}
	if minus {
		e = -e
	}
	d.exp += e
	return d, true
}

// tens are the powers of ten that a float64 holds exactly.
var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseFloat reads b as parseDecimal does and rounds it to the nearest
// float64. Reason is BadNumber, or BadRange for what no float64 holds.
func parseFloat(b []byte, mark byte) (float64, Reason) {
	if v, ok := parseShort(b, mark); ok {
		return v, ""
	}
	d, ok := parseDecimal(b, mark)
	if !ok {
		return 0, BadNumber
	}
	v := float64(d.digits)
	switch {
	// Both operands are exact, so the one operation rounds once and rightly.
	case d.digits < 1<<53 && !d.cut && d.exp <= 0 && -d.exp < len(tens):
		v /= tens[-d.exp]
	case d.digits < 1<<53 && !d.cut && d.exp > 0 && d.exp < len(tens):
		v *= tens[d.exp]
	default:
		return parseLong(b, mark)
	}
	if d.neg {
		v = -v
	}
	return v, ""
}

// parseShort reads what cells.short reads of a cell.
func parseShort(b []byte, mark byte) (float64, bool) {
	c := cells{row: b, sep: noSeparator}
	n, behind, neg, ok := c.short(mark)
	return shortFloat(n, behind, neg), ok && c.next > len(b)
}

// noSeparator is a byte that is in no number.
const noSeparator = '\n'

// shortFloat is the number that cells.short has read. Its digits and the power of ten are
// exact, so that the one division rounds rightly, as in parseFloat.
func shortFloat(n int64, behind int, neg bool) float64 {
	v := float64(n)
	if behind > 0 {
		v /= tens[behind]
	}
	if neg {
		return -v
	}
	return v
}

// shortNanos is that number times 10^scale, as parseNanos has it; false where that is not
// a whole number or a large one.
func shortNanos(n int64, behind int, neg bool, scale int) (int64, bool) {
	if behind > scale {
		return 0, false
	}
	by := int64(tens[scale-behind])
	if n > math.MaxInt64/10/by {
		return 0, false
	}
	if n *= by; neg {
		n = -n
	}
	return n, true
}

// parseLong reads a number that is too long or too large for the short way. b
// has passed parseDecimal.
func parseLong(b []byte, mark byte) (float64, Reason) {
	text := make([]byte, len(b))
	for i, c := range b {
		if c == mark {
			c = '.'
		}
		text[i] = c
	}
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		return 0, BadRange
	}
	return v, ""
}

// parseNanos reads b as parseDecimal does and returns it times 10^scale,
// rounded to the nearest whole number: seconds with a scale of 9 are
// nanoseconds, and no digit passes through a float on the way.
func parseNanos(b []byte, mark byte, scale int) (int64, bool) {
	d, ok := parseDecimal(b, mark)
	if !ok {
		return 0, false
	}
	v, exp := d.digits, d.exp+scale
	if v == 0 {
		return 0, true
	}
	if d.cut && exp > 0 {
		return 0, false // 20 digits and more of nanoseconds
	}
	for ; exp > 0; exp-- {
		if v > math.MaxUint64/10 {
			return 0, false
		}
		v *= 10
	}
	up := d.up && exp == 0 // what is below the last digit kept is half or more
	for ; exp < 0 && (v != 0 || up); exp++ {
		up = v%10 >= 5
		v /= 10
	}
	if up {
		v++
	}
	if v >= math.MaxInt64 { // MaxInt64 itself is sample.Never
		return 0, false
	}
	if d.neg {
		return -int64(v), true
	}
	return int64(v), true
}
