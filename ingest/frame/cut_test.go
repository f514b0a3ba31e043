package frame

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// cutAll returns what a cutter finds in pieces given one after the other.
func cutAll(c *cutter, pieces ...string) []string {
	var out []string
	for _, p := range pieces {
		for rest := []byte(p); ; {
			got, after, what := c.next(rest)
			if what == nothing {
				break
			}
			if what == tooLong {
				out = append(out, "too long")
			} else {
				out = append(out, string(got))
			}
			rest = after
		}
	}
	return out
}

func TestCutter(t *testing.T) {
	for _, c := range []struct {
		pieces []string
		want   []string
	}{
		{[]string{"ab.cd.", "e", "f.g"}, []string{"ab", "cd", "ef"}},
		{[]string{"..", "", "."}, []string{"", "", ""}},
		{[]string{"1234.12345.1"}, []string{"1234", "too long"}},
		{[]string{"12", "34", ".", "12", "345.6."}, []string{"1234", "too long", "6"}},
		{[]string{"12345", "6789", "0.ab."}, []string{"too long", "ab"}},
		{[]string{"12345", ".12345", ".ab."}, []string{"too long", "too long", "ab"}},
	} {
		cut := newCutter('.', 4, 0)
		if got := cutAll(&cut, c.pieces...); !slices.Equal(got, c.want) {
			t.Errorf("%q: got %q, want %q", c.pieces, got, c.want)
		}
	}
}

func TestCutterTakeAndReset(t *testing.T) {
	cut := newCutter('.', 4, 0)
	cutAll(&cut, "ab.cd")
	if got := string(cut.take()); got != "cd" {
		t.Errorf("took %q, want what had no delimiter", got)
	}
	if got := cutAll(&cut, "e."); !slices.Equal(got, []string{"e"}) {
		t.Errorf("after taking: %q", got)
	}
	cutAll(&cut, "123456")
	cut.reset()
	if got := cutAll(&cut, "f."); !slices.Equal(got, []string{"f"}) {
		t.Errorf("a reset did not forget what was too long: %q", got)
	}
}

// However the input is cut, a cutter splits as strings.Split does and never
// holds more than its limit.
func TestCutterAgainstSplit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pieces := rapid.SliceOfN(rapid.StringMatching(`[ab.]{0,12}`), 0, 6).Draw(t, "pieces")
		parts := strings.Split(strings.Join(pieces, ""), ".")
		var want []string
		for i, p := range parts {
			switch {
			case len(p) > 4:
				want = append(want, "too long")
			case i < len(parts)-1:
				want = append(want, p)
			}
		}
		cut := newCutter('.', 4, 4)
		if got := cutAll(&cut, pieces...); !slices.Equal(got, want) {
			t.Fatalf("got %q, want %q", got, want)
		}
		if cap(cut.held) != 4 {
			t.Fatalf("the buffer has grown to %d", cap(cut.held))
		}
	})
}
