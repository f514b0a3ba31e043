package frame

import "bytes"

// A cells walks over the cells of one row.
type cells struct {
	row   []byte
	sep   byte   // the separator, 0 for runs of blanks
	next  int    // where the next cell starts; beyond len(row): there is none
	at    int    // where the present cell starts, its quote included
	plain []byte // a quoted cell without its quotes
}

// start begins a row, which is without its line ending and not blank.
func (c *cells) start(row []byte) {
	c.row, c.next = row, 0
	if c.sep == 0 {
		c.next = skipBlanks(row, 0)
	}
}

// cell returns the next cell without its quotes and without blanks around it,
// valid until the next call, or more = false where there is none. ok is false
// where quotes do not match; the rest of the row cannot be read then.
func (c *cells) cell() (text []byte, more, ok bool) {
	if c.next > len(c.row) {
		return nil, false, true
	}
	start := c.next
	if c.sep != 0 {
		// Blanks around a cell are layout, but a separator that is one ends it.
		for start < len(c.row) && isBlank(c.row[start]) && c.row[start] != c.sep {
			start++
		}
	}
	c.at = start
	if start < len(c.row) && c.row[start] == '"' {
		return c.quoted(start + 1)
	}
	end := c.end(start)
	last := end
	for last > start && isBlank(c.row[last-1]) {
		last--
	}
	c.advance(end)
	return c.row[start:last], true, true
}

// short reads the next cell if it is at most 15 digits, with a minus before them and a mark
// among them or not, and has no blanks around it, as most cells of most loggers: the digits
// as a whole number, and how many of them are behind the mark. If not ok it reads nothing.
func (c *cells) short(mark byte) (n int64, behind int, neg, ok bool) {
	if c.sep == 0 || c.next >= len(c.row) {
		return 0, 0, false, false
	}
	b, sep := c.row[c.next:], c.sep
	if neg = b[0] == '-'; neg {
		b = b[1:]
	}
	digits, marked := len(b), false
	for i, v := range b {
		d := v - '0'
		if d <= 9 {
			n = n*10 + int64(d)
			continue
		}
		if v == sep {
			b, digits = b[:i], digits-len(b)+i
			break
		}
		if v != mark || marked {
			return 0, 0, false, false
		}
		marked, behind = true, i
		digits--
	}
	if marked {
		behind = len(b) - 1 - behind
	}
	if digits == 0 || digits > mostDigits {
		return 0, 0, false, false
	}
	c.at = c.next
	if c.next += len(b) + 1; neg {
		c.next++
	}
	return n, behind, neg, true
}

// mostDigits is how many digits any float64 has exactly.
const mostDigits = 15

// quoted reads a cell from behind its opening quote. A quote inside is doubled.
func (c *cells) quoted(i int) (text []byte, more, ok bool) {
	c.plain = c.plain[:0]
	for {
		n := bytes.IndexByte(c.row[i:], '"')
		if n < 0 {
			return nil, true, false
		}
		c.plain = append(c.plain, c.row[i:i+n]...)
		i += n + 1
		if i == len(c.row) || c.row[i] != '"' {
			break
		}
		c.plain = append(c.plain, '"')
		i++
	}
	end := c.end(i)
	if len(bytes.TrimLeft(c.row[i:end], " \t")) > 0 {
		return nil, true, false
	}
	c.advance(end)
	return bytes.Trim(c.plain, " \t"), true, true
}

// end returns where the cell that i is in ends.
func (c *cells) end(i int) int {
	if c.sep != 0 {
		for i < len(c.row) && c.row[i] != c.sep { // cells are short
			i++
		}
		return i
	}
	for i < len(c.row) && !isBlank(c.row[i]) {
		i++
	}
	return i
}

// advance goes on to the cell behind the separator at end.
func (c *cells) advance(end int) {
	if c.sep != 0 {
		c.next = end + 1
		return
	}
	c.next = skipBlanks(c.row, end)
	if c.next == len(c.row) {
		c.next++ // blanks at the end separate nothing
	}
}

func isBlank(b byte) bool { return b == ' ' || b == '\t' }

func skipBlanks(b []byte, i int) int {
	for i < len(b) && isBlank(b[i]) {
		i++
	}
	return i
}
