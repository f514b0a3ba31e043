package export

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
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

// join puts pieces together again. It wants annotations in the order of onset;
// pieces of which one is missing stay as they are.
func join(all []edf.Annotation) []edf.Annotation {
	var out []edf.Annotation
	for len(all) > 0 {
		n := 1 // annotations with the same onset
		for n < len(all) && all[n].Onset == all[0].Onset {
			n++
		}
		same := all[:n]
		all = all[n:]
		used := make([]bool, n)
		whole := make([]string, n)
		for i, a := range same {
			whole[i] = a.Text
			if m := pieceMark.FindStringSubmatch(a.Text); m != nil && m[1] == "1" {
				whole[i] = rest(same, used, a.Text, m[2])
			}
		}
		for i, a := range same {
			if a.Text = whole[i]; !used[i] {
				out = append(out, a)
			}
		}
	}
	return out
}

// rest returns the whole text of which first is the first of count pieces, and
// marks the others as used; or first itself, if one of them is not there.
func rest(same []edf.Annotation, used []bool, first, count string) string {
	last, err := strconv.Atoi(count)
	if err != nil || last > len(same) {
		return first
	}
	whole := strings.TrimPrefix(first, "(1/"+count+") ")
	var mine []int
	for k := 2; k <= last; k++ {
		mark := fmt.Sprintf("(%d/%s) ", k, count)
		i := slices.IndexFunc(same, func(a edf.Annotation) bool { return strings.HasPrefix(a.Text, mark) })
		if i < 0 || used[i] {
			return first
		}
		whole += same[i].Text[len(mark):]
		mine = append(mine, i)
	}
	for _, i := range mine {
		used[i] = true
	}
	return whole
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
