package export

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

	"weald/ingest/sample"
	"weald/stream/export/edf"
)

// pieceSize is the most bytes of a text in one annotation. Every record has
// room for one, so a long note is cut rather than making the file large.
const pieceSize = 160

// sentence is what an annotation says where it has one line of text.
func (a *Annotation) sentence() string {
	var b strings.Builder
	if a.Kind != Text {
		b.WriteString(string(a.Kind))
		if a.What != "" {
			b.WriteString(" " + a.What)
		}
	}
	var of []string
	for _, s := range []string{a.Rule, a.Subject, a.Priority} {
		if s != "" {
			of = append(of, s)
		}
	}
	if len(of) > 0 {
		b.WriteString(" (" + strings.Join(of, ", ") + ")")
	}
	if b.Len() > 0 && a.Text != "" {
		b.WriteString(": ")
	}
	b.WriteString(a.Text)
	if a.Author != "" {
		b.WriteString(" [" + a.Author + "]")
	}
	return b.String()
}

// pieces cuts text that is too long for one annotation into numbered parts.
func pieces(text string) []string {
	if len(text) <= pieceSize {
		return []string{text}
	}
	const body = pieceSize - len("(1000/1000) ")
	var all []string
	for len(text) > 0 {
		n := min(body, len(text))
		for n < len(text) && n > 1 && !utf8.RuneStart(text[n]) {
			n--
		}
		all, text = append(all, text[:n]), text[n:]
	}
	for i := range all {
		all[i] = fmt.Sprintf("(%d/%d) %s", i+1, len(all), all[i])
	}
	return all
}

var pieceMark = regexp.MustCompile(`^\((\d+)/(\d+)\) `)

// joiner puts pieces together again.
type joiner struct {
	onset time.Duration
	text  strings.Builder
	next  int // number of the piece that is missing; 0 when none is
	of    string
}

// add takes one annotation and returns true with the text that is now whole.
func (j *joiner) add(a edf.Annotation) (string, bool) {
	m := pieceMark.FindStringSubmatch(a.Text)
	if m == nil || m[1] != "1" && (a.Onset != j.onset || m[2] != j.of || m[1] != fmt.Sprint(j.next)) {
		return a.Text, true
	}
	if m[1] == "1" {
		j.text.Reset()
		j.onset, j.of, j.next = a.Onset, m[2], 1
	}
	j.text.WriteString(a.Text[len(m[0]):])
	j.next++
	if m[1] != m[2] {
		return "", false
	}
	return j.text.String(), true
}

// A list is one annotation as it is written, with the instant it is of.
type list struct {
	at    sample.Instant
	bytes []byte
}

// lists writes all annotations, with times from base.
func (r *Recording) lists(ctx context.Context, base sample.Instant) (all []list, longest int, err error) {
	err = r.annotations(ctx, func(a *Annotation) error {
		for _, text := range pieces(edf.CleanText(a.sentence())) {
			b := edf.AppendTAL(nil, a.At.Sub(base), max(0, a.Duration), text)
			all = append(all, list{a.At, b})
			longest = max(longest, len(b))
		}
		return nil
	})
	return all, longest, err
}

// place finds for every list a record with room for it: the one in whose time
// it is, or the next one, or, at the end of the file, one before. It returns
// the bytes of each record that has any, by the record's number in the file,
// and false if capacity bytes a record are not enough.
func place(all []list, records *spans, onset func(number int64) time.Duration, begin func(at sample.Instant) int64, capacity int) (map[int64][]byte, bool) {
	placed := map[int64][]byte{}
	fits := func(number int64, b []byte) bool {
		if edf.ListRoom(onset(number))+len(placed[number])+len(b) > capacity {
			return false
		}
		placed[number] = append(placed[number], b...)
		return true
	}
	forward, backward := int64(0), records.count-1
	for _, l := range all {
		for forward = max(forward, begin(l.at)); forward < records.count && !fits(forward, l.bytes); {
			forward++
		}
		if forward < records.count {
			continue
		}
		for backward >= 0 && !fits(backward, l.bytes) {
			backward--
		}
		if backward < 0 {
			return nil, false
		}
	}
	return placed, true
}
