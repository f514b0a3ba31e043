package ingest

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// How many of the latest bytes are kept to be looked at, in two halves of which
// the older goes when the newer is full or has become old; and how often they
// are looked at. On the daemon's clock.
const (
	halfEvidence  = 8 << 10
	evidenceLasts = 5 * time.Second
	guessEvery    = 3 * time.Second
)

// evidence is what has arrived since the last good frame.
type evidence struct {
	since  sample.Instant
	older  []byte
	newer  []byte
	turned sample.Instant // when newer was begun
	count  uint64         // bytes, of which only the latest are kept
	bad    uint64         // refused frames

	tried   uint64         // count when it was guessed last what they are
	guessed sample.Instant // and when that was
	words   string         // what came of it
}

func (e *evidence) reset(now sample.Instant) {
	*e = evidence{since: now, turned: now, older: e.older[:0], newer: e.newer[:0]}
}

func (e *evidence) add(p []byte, now sample.Instant) {
	e.count += uint64(len(p))
	if len(e.newer) > 0 && (now.Sub(e.turned) >= evidenceLasts || len(e.newer)+len(p) > halfEvidence) {
		e.older, e.newer, e.turned = e.newer, e.older[:0], now
	}
	e.newer = append(e.newer, p[max(0, len(p)-halfEvidence):]...)
}

// strange says what the bytes look like that are no frames. They are looked at
// again from time to time, for what arrives may have become something else.
func (in *intake) strange(now sample.Instant) string {
	e := &in.fresh
	if e.words == "" || e.count > e.tried && now.Sub(e.guessed) >= guessEvery {
		e.tried, e.guessed = e.count, now
		latest := append(append(make([]byte, 0, 2*halfEvidence), e.older...), e.newer...)
		e.words = fmt.Sprintf("bytes arrive but no frame of format %s: %s", in.bridge.Format.Kind, in.guess(latest))
	}
	return e.words
}

// guess says what b may be instead of frames of the bridge's format.
func (in *intake) guess(b []byte) string {
	kind := in.bridge.Format.Kind
	switch {
	case kind == Packed && in.whole && reads(frame.NewPacked(), b):
		return "they are packed frames in COBS framing, which they must not have in messages"
	case kind == Packed && !in.whole && bare(b):
		return "they are packed frames without their COBS framing, which they need on a stream of bytes"
	case kind != Packed && reads(frame.NewPacked(), b):
		return "is the bridge set to packed?"
	case kind != Line && reads(frame.NewLine(), b):
		return "is the bridge set to line?"
	}
	if kind == Line {
		if words := refusal(b); words != "" {
			return words
		}
	}
	if text, ok := excerpt(b); ok {
		switch kind {
		case Delimited:
			return fmt.Sprintf("it is text, such as %q; are separator, columns and time described as they are?", text)
		case Line:
			return fmt.Sprintf("it is text, such as %q; a logger's columns are read as format delimited", text)
		}
		return fmt.Sprintf("it is text, such as %q", text)
	}
	if in.fresh.bad > 0 {
		return fmt.Sprintf("it looks like noise (%s); is the baud rate right, and are cable and ground sound?", in.lastBad.Reason)
	}
	return "it looks like noise; is the baud rate right, and are cable and ground sound?"
}

// A tally counts the good frames that a decoder finds, and keeps what was wrong
// with the latest other.
type tally struct {
	good int
	bad  string
}

func (t *tally) Frame(*frame.Frame) { t.good++ }
func (t *tally) Bad(b *frame.Bad)   { t.bad = b.Detail }

// reads reports whether d finds a frame in b. One is no accident: noise does not
// make a checksum and a header that both fit.
func reads(d frame.Decoder, b []byte) bool {
	var t tally
	d.Feed(b, &t)
	return t.good > 0
}

// mostBare is how many beginnings of bare frames are tried: each may cost a
// checksum of 8 KiB.
const mostBare = 256

// bare reports whether b has a packed frame without framing in it.
func bare(b []byte) bool {
	var t tally
	d := frame.NewPacked()
	for i, tried := 0, 0; i < len(b) && tried < mostBare; i++ {
		n := frame.BareLen(b[i:])
		if n < 0 || i+n > len(b) {
			continue
		}
		tried++
		if d.Message(b[i:i+n], &t); t.good > 0 {
			return true
		}
	}
	return false
}

// refusal says why the latest whole line of b that begins as a line frame does is
// none, empty if there is no such line.
func refusal(b []byte) string {
	whole := b[:bytes.LastIndexByte(b, '\n')+1]
	for len(whole) > 0 {
		start := bytes.LastIndexByte(whole[:len(whole)-1], '\n') + 1
		line := bytes.TrimRight(whole[start:], "\r\n")
		whole = whole[:start]
		if !bytes.HasPrefix(line, []byte("w1,")) {
			continue
		}
		var t tally
		frame.NewLine().Message(line, &t)
		if t.bad != "" {
			return fmt.Sprintf("lines begin with w1 and are refused: there is %s, as in %q", t.bad, shortened(string(line)))
		}
	}
	return ""
}

// excerpt returns a line from the middle of b if b is text.
func excerpt(b []byte) (string, bool) {
	odd := 0
	for _, c := range b {
		if (c < ' ' || c > '~') && c != '\n' && c != '\r' && c != '\t' {
			odd++
		}
	}
	if len(b) == 0 || odd*50 > len(b) {
		return "", false
	}
	lines := bytes.Split(b, []byte("\n"))
	line := strings.TrimSpace(string(lines[len(lines)/2]))
	if line == "" {
		line = strings.TrimSpace(string(b))
	}
	return line[:min(len(line), excerptLen)], true
}

// excerptLen is how many bytes of a line are shown.
const excerptLen = 40

// shortened shows both ends of a line, for its checksum is at the end.
func shortened(line string) string {
	if len(line) <= excerptLen {
		return line
	}
	return line[:excerptLen/2] + "…" + line[len(line)-excerptLen/2:]
}
