package frame

// lines cuts text into lines for a decoder. It is what Line and Rows have in
// common.
type lines struct {
	cut  cutter
	line int // number of the line being decoded, from 1
	most int // bytes in a line, without its ending

	// Set by the decoder: what to do with a line, without its ending, and with
	// one that is too long, of which nothing is kept.
	decode   func(b []byte, h Handler)
	overlong func(h Handler)
}

// newLines makes lines of at most that many bytes, whose buffer has room for
// hold bytes from the start.
func newLines(most, hold int) lines {
	return lines{cut: newCutter('\n', most+len("\r"), hold), most: most}
}

// Feed takes the next bytes of a stream or a file.
func (l *lines) Feed(p []byte, h Handler) {
	for {
		b, rest, what := l.cut.next(p)
		switch what {
		case nothing:
			return
		case tooLong:
			l.line++
			l.overlong(h)
		case piece:
			l.take(b, h)
		}
		p = rest
	}
}

// Message takes one or more whole lines; the last needs no line ending.
func (l *lines) Message(p []byte, h Handler) {
	l.cut.reset()
	l.Feed(p, h)
	l.Flush(h)
}

// Flush takes what is left as a line.
func (l *lines) Flush(h Handler) {
	if b := l.cut.take(); len(b) > 0 {
		l.take(b, h)
	}
}

// Reset forgets a half-received line and counts lines from 1 again.
func (l *lines) Reset() {
	l.cut.reset()
	l.line = 0
}

func (l *lines) take(b []byte, h Handler) {
	l.line++
	if n := len(b); n > 0 && b[n-1] == '\r' {
		b = b[:n-1]
	}
	if len(b) > l.most {
		l.overlong(h)
		return
	}
	l.decode(b, h)
}
