package replicated

import (
	"fmt"
	"strconv"
	"strings"

	"weald/stream/record"
)

// A call that is larger than a message may be goes into the log in parts, of which the
// last makes it happen. A Journal sends one such call at a time, so that of each writer
// there is at most one that is not whole; one that never becomes whole never happened.

// A label says what a message is, in a header of it.
type label struct {
	term        uint64 // the turn in which the writer writes; 0 before anybody claimed one
	writer      string // a Journal, from when it was opened until it was closed
	call        uint64 // counts the calls of the writer
	part, parts int    // from 1
}

const labelHeader = "Weald-Call"

func (l label) String() string {
	return fmt.Sprintf("%d.%s.%d.%d.%d", l.term, l.writer, l.call, l.part, l.parts)
}

// mostParts is how many parts a call may have that is read, and mostSent how many one has that
// is sent: few enough that it is whole within reach, whatever comes between. With
// leastMessage, the least bytes that servers must let a message have, that is more than any
// call of this program takes.
const (
	mostParts    = 1 << 16
	mostSent     = reach / 4
	leastMessage = 4 << 10
)

func parseLabel(text string) (l label, err error) {
	fields := strings.Split(text, ".")
	if len(fields) != 5 || fields[1] == "" {
		return l, fmt.Errorf("label %.80q: %w", text, record.ErrDamaged)
	}
	l.writer = fields[1]
	var errs [4]error
	l.term, errs[0] = strconv.ParseUint(fields[0], 10, 64)
	l.call, errs[1] = strconv.ParseUint(fields[2], 10, 64)
	l.part, errs[2] = strconv.Atoi(fields[3])
	l.parts, errs[3] = strconv.Atoi(fields[4])
	if errs != [4]error{} || l.part < 1 || l.part > l.parts || l.parts > mostParts {
		return l, fmt.Errorf("label %.80q: %w", text, record.ErrDamaged)
	}
	return l, nil
}

// cut cuts a body into parts of so many bytes.
func cut(body []byte, most int) (parts [][]byte) {
	for len(body) > most {
		parts, body = append(parts, body[:most]), body[most:]
	}
	return append(parts, body)
}

// A partial is a call of which not all parts have come.
type partial struct {
	call  uint64
	first uint64 // number of the message of its first part
	body  []byte
	parts int // how many have come
}

// partials are those of all writers.
type partials map[string]*partial

// reach is how many messages the parts of a call may lie apart: what is not whole by then
// is of a writer that is gone. All machines must agree on it, so it goes by numbers and
// not by time.
const reach = 1 << 16

// add takes a part in, and returns the body of the call when it is whole.
func (p partials) add(l label, seq uint64, data []byte) (body []byte, whole bool) {
	for writer, one := range p {
		if seq-one.first >= reach {
			delete(p, writer)
		}
	}
	if l.parts == 1 {
		return data, true
	}
	one := p[l.writer]
	switch {
	case l.part == 1:
		one = &partial{call: l.call, first: seq}
		p[l.writer] = one
	case one == nil || one.call != l.call || one.parts != l.part-1:
		return nil, false // its beginning came before this store began, or never
	}
	one.body, one.parts = append(one.body, data...), l.part
	if l.part < l.parts {
		return nil, false
	}
	delete(p, l.writer)
	return one.body, true
}

// next returns from which message on a start has to read, when the one with a number has
// been dealt with.
func (p partials) next(seq uint64) uint64 {
	next := seq + 1
	for _, one := range p {
		next = min(next, one.first)
	}
	return next
}
