package frame

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// What is read in one pass is what the careful way reads: the same cell, the same number
// to the last bit, the same instant, and as far in the row. And every short number is.
func TestShortCellsAreReadAlike(t *testing.T) {
	number := regexp.MustCompile(`^-?[0-9]*[.,]?[0-9]*$`)
	short, times := 0, 0
	tried.Check(t, tried.All(tried.Count(&short, 50), tried.Count(&times, 50)), func(t *rapid.T) {
		sep := rapid.SampledFrom([]byte{';', '\t', '|'}).Draw(t, "separator")
		mark := rapid.SampledFrom([]byte{'.', ','}).Draw(t, "mark")
		texts := rapid.SliceOfN(rapid.OneOf(
			rapid.StringMatching(`-?[0-9]{0,17}[.,]?[0-9]{0,11}`),
			rapid.StringMatching(`[ "+-]?[0-9]{1,3}[.,e" ]?[0-9]{0,2}[.,e" -]?[0-9]{0,2}`),
		), 1, 4).Draw(t, "cells")
		row := []byte(strings.Join(texts, string(sep)))
		one, other := cells{sep: sep}, cells{sep: sep}
		one.start(row)
		other.start(row)
		for {
			from := other.next
			n, behind, neg, ok := one.short(mark)
			text, more, sound := other.cell()
			if !more || !sound {
				if ok {
					t.Fatalf("%q: a cell at %d where there is none", row, from)
				}
				return
			}
			digits := len(strings.TrimLeft(strings.Replace(string(text), string(mark), "", 1), "-"))
			plain := one.row != nil && strings.Count(string(text), string(mark)) <= 1 && number.MatchString(string(text)) &&
				!strings.ContainsAny(strings.Replace(string(text), string(mark), "", 1), ".,") && digits > 0 && digits <= mostDigits &&
				from+len(text) <= len(row) && string(row[from:from+len(text)]) == string(text) && (from+len(text) == len(row) || row[from+len(text)] == sep)
			if ok != plain {
				t.Fatalf("%q: cell %q was read in one pass: %t", row, text, ok)
			}
			if !ok {
				one.next = other.next
				continue
			}
			short++
			want, err := strconv.ParseFloat(strings.Replace(string(text), string(mark), ".", 1), 64)
			if got := shortFloat(n, behind, neg); err != nil || math.Float64bits(got) != math.Float64bits(want) {
				t.Fatalf("%q: cell %q is %v, want %v (%v)", row, text, got, want, err)
			}
			if one.next != other.next || one.at != other.at {
				t.Fatalf("%q: after cell %q it is at %d, want %d", row, text, one.next, other.next)
			}
			for _, scale := range []int{6, 9} {
				if ns, ok := shortNanos(n, behind, neg, scale); ok {
					if want, sound := parseNanos(text, mark, scale); !sound || ns != want {
						t.Fatalf("%q is %d of 10^%d, want %d, %t", text, ns, -scale, want, sound)
					}
					times++
				}
			}
		}
	})
}
