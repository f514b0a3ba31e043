package replicated

import (
	"bytes"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Calls of several writers go in parts of any number, which lie between each other in any way; some
// writers stop in the middle, or begin again. Whole are the calls of which all parts came one after
// the other, as they were, in the order of their last parts. Whoever begins at the message
// that next says, after any message, has the same from then on; and what was dealt with
// before that message is not asked for.
func TestPartsFromAnyMessageOn(t *testing.T) {
	type said struct {
		label
		data []byte
	}
	type whole struct {
		seq  uint64
		text string
	}
	rapid.Check(t, func(t *rapid.T) {
		writers := map[string]*struct {
			call, part, parts int
			body              string
		}{"a": {}, "b": {}, "c": {}}
		var all []said
		var want []whole
		for i := range rapid.IntRange(1, 25).Draw(t, "messages") {
			name := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "writer")
			w := writers[name]
			if w.part == w.parts || rapid.IntRange(0, 9).Draw(t, "gives up") == 0 {
				w.call, w.part, w.parts, w.body = w.call+1, 0, rapid.IntRange(1, 4).Draw(t, "parts"), ""
			}
			w.part++
			text := fmt.Sprintf("%s%d/%d ", name, w.call, w.part)
			w.body += text
			all = append(all, said{label{0, name, uint64(w.call), w.part, w.parts}, []byte(text)})
			if w.part == w.parts {
				want = append(want, whole{uint64(i + 1), w.body})
			}
		}
		from := func(p partials, first uint64) (got []whole, nexts []uint64) {
			for i, m := range all[first-1:] {
				seq := first + uint64(i)
				if body, is := p.add(m.label, seq, bytes.Clone(m.data)); is {
					got = append(got, whole{seq, string(body)})
				}
				nexts = append(nexts, p.next(seq))
			}
			return got, nexts
		}
		got, nexts := from(partials{}, 1)
		if !slices.Equal(got, want) {
			t.Fatalf("whole are %v, and should be %v", got, want)
		}
		for i, next := range nexts {
			applied := uint64(i + 1)
			if next > uint64(len(all)) {
				continue
			}
			if next > applied+1 || next <= applied && all[next-1].part > 1 {
				t.Fatalf("after %d a start begins with %d, %+v", applied, next, all[next-1].label)
			}
			again, _ := from(partials{}, next)
			again = slices.DeleteFunc(again, func(w whole) bool { return w.seq <= applied })
			after := slices.DeleteFunc(slices.Clone(want), func(w whole) bool { return w.seq <= applied })
			if !slices.Equal(again, after) {
				t.Fatalf("who begins after %d, with %d, has %v, and should have %v", applied, next, again, after)
			}
		}
	})
}

// A call whose parts lie as far apart as can be is whole, and one whose parts lie one message further apart never is: on
// every machine, as it goes by numbers. What is sent stays far within that.
func TestPartsLieWithinReach(t *testing.T) {
	for apart, want := range map[uint64]bool{1: true, reach - 1: true, reach: false, reach + 1: false} {
		p := partials{}
		p.add(label{0, "w", 1, 1, 2}, 10, []byte("a"))
		body, whole := p.add(label{0, "w", 1, 2, 2}, 10+apart, []byte("b"))
		if whole != want || want && string(body) != "ab" || len(p) > 0 && p.next(10+apart) <= 10 {
			t.Errorf("parts %d apart are whole: %v, %q; a start begins with %d", apart, whole, body, p.next(10+apart))
		}
	}
	if mostSent*2 > reach || mostSent > mostParts {
		t.Errorf("a call of %d parts is sent, and within %d messages whole", mostSent, reach)
	}
}
