package ingest

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// When a bridge that is connected and says nothing useful is in trouble, on the
// daemon's clock. They are long against any scan period and short against a
// person's patience.
const (
	silentAfter  = 5 * time.Second
	strangeAfter = 3 * time.Second
)

// enough is how many bytes without a good frame are suspicious, unless whole
// frames were refused. A packed frame has at least 22.
const enough = 64

// maxEvidence is how many bytes are kept to be looked at.
const maxEvidence = 16 << 10

// evidence is what has arrived since the last good frame.
type evidence struct {
	since sample.Instant
	bytes []byte // the first maxEvidence of them
	count uint64
	bad   uint64
	tried uint64 // count when the other formats were tried last
	words string // what came of it
}

func (e *evidence) reset(now sample.Instant) {
	*e = evidence{since: now, bytes: e.bytes[:0]}
}

func (e *evidence) add(p []byte) {
	e.count += uint64(len(p))
	e.bytes = append(e.bytes, p[:min(len(p), maxEvidence-len(e.bytes))]...)
}

// A complaint is what is wrong, in words for people, and what kind of thing it
// is: words that count seconds change while the trouble stays the same. The
// zero complaint is none.
type complaint struct{ kind, words string }

// trouble says what is wrong with an open connection.
func (in *intake) trouble(now sample.Instant) complaint {
	strange := max(strangeAfter, in.grace)
	if in.fresh.count > 0 && now.Sub(in.fresh.since) >= strange && (in.fresh.count >= enough || in.fresh.bad > 2) {
		return complaint{"strange", in.strange()}
	}
	if in.losses.words != "" {
		return complaint{"losses", in.losses.words}
	}
	if c := in.flooded(); c != (complaint{}) {
		return c
	}
	last := max(in.lastByte, in.opened)
	if now.Sub(last) < max(silentAfter, in.patience(), in.grace) {
		return complaint{}
	}
	lasts := now.Sub(last).Truncate(time.Second)
	words := fmt.Sprintf("nothing has arrived for %v", lasts)
	if in.lastByte < in.opened {
		words = fmt.Sprintf("nothing has arrived since the link was opened %v ago", lasts)
	}
	return complaint{"silent", words + ": is the bridge powered, and is it sending?"}
}

// await says that a link has been opening for longer than patience, as one does
// that waits for the bridge to call. It is said when somebody asks, for nothing
// ticks while a link is being opened.
func (s *Status) await(now sample.Instant, patience time.Duration) {
	if lasts := now.Sub(s.Since); lasts >= patience {
		s.Trouble = fmt.Sprintf("still no connection after %v: is the bridge powered, and is there a way between it and this machine?", lasts.Truncate(time.Second))
		s.TroubleSince = s.Since.Add(patience)
	}
}

// patience is how long the fastest source may be silent.
func (in *intake) patience() time.Duration {
	best := time.Duration(0)
	for _, s := range in.sources {
		if s.spec.Rate > 0 {
			if p := s.patience(); best == 0 || p < best {
				best = p
			}
		}
	}
	return best
}

// strange says what the bytes look like that are no frames. The other formats
// are tried on them, again only when there is more to go by.
func (in *intake) strange() string {
	e := &in.fresh
	if e.words == "" || e.tried < maxEvidence && e.count >= 2*e.tried {
		e.tried = e.count
		e.words = fmt.Sprintf("bytes arrive but no frame of format %s: %s", in.bridge.Format.Kind, in.guess(e.bytes))
	}
	return e.words
}

// guess says what b may be instead of frames of the bridge's format.
func (in *intake) guess(b []byte) string {
	kind := in.bridge.Format.Kind
	if kind != Packed && reads(frame.NewPacked(), b) {
		return "is the bridge set to packed?"
	}
	if kind != Line && reads(frame.NewLine(), b) {
		return "is the bridge set to line?"
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

// A tally counts the good frames that a decoder finds.
type tally int

func (t *tally) Frame(*frame.Frame) { *t++ }
func (t *tally) Bad(*frame.Bad)     {}

// reads reports whether d finds a frame in b. One is no accident: noise does not
// make a checksum and a header that both fit.
func reads(d frame.Decoder, b []byte) bool {
	var t tally
	d.Feed(b, &t)
	return t > 0
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
	return line[:min(len(line), 40)], true
}

// trouble says what is wrong with the bridge. It is called with s.mu held.
func (s *Supervisor) trouble(now sample.Instant) complaint {
	if s.status.State == Open {
		if c := s.in.trouble(now); c != (complaint{}) {
			return c
		}
		// A link that was just opened again has still to prove itself.
		if now.Sub(s.opened) > silentAfter {
			return complaint{}
		}
	}
	if s.lastErr != nil {
		return complaint{s.lastErr.Error(), s.lastErr.Error()}
	}
	return complaint{}
}
