package expr

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A name as the package comment has it: ids joined with points, each a small letter or a
// digit, then small letters, digits, "_" and "-".
var nameForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]*(\.[a-z0-9][a-z0-9_-]*)*$`)

// What is a name is one by the form, whatever the text.
func TestWhatIsAName(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.OneOf(rapid.StringOfN(rapid.SampledFrom([]rune("ab2_-.A²")), 0, 8, -1), rapid.String()).Draw(t, "name")
		if got, want := validName(name), nameForm.MatchString(name); got != want {
			t.Fatalf("%q is a name: %t, want %t", name, got, want)
		}
	})
}

// A place may call a signal by any name that is one and begins with a letter, units and
// functions among them, but for the words of the language: it is found beside whatever can
// stand beside a name, and its slot is the only one.
func TestAnyNameIsFound(t *testing.T) {
	words := []string{"and", "or", "not", "true", "false"}
	names := rapid.OneOf(rapid.StringMatching(`[a-z][a-z0-9_-]{0,5}(\.[a-z0-9][a-z0-9_-]{0,4}){0,2}`), rapid.SampledFrom([]string{"min", "max", "s", "kpa", "known", "h", "e", "e3", "x.1", "nota", "or-not"}))
	rapid.Check(t, func(t *rapid.T) {
		name := names.Filter(func(s string) bool { return !slices.Contains(words, s) }).Draw(t, "name")
		other := names.Filter(func(s string) bool { return !slices.Contains(words, s) && s != name }).Draw(t, "other")
		p := newPlace(map[string]Signal{name: {Slot: 3, Unit: "1"}, other: {Slot: 5, Unit: "1"}})
		for _, text := range []string{"@ > 1", "1<@", "-@<1", "(@)>1", "1 - @ > 0", "@*2>1", "max(@,1)>0", "known(@)", "not @<=1", "!known(@)&&@>1"} {
			text = strings.ReplaceAll(text, "@", name)
			program, problems := Compile(text, p.resolve, p.names)
			if len(problems) > 0 || !slices.Equal(program.Values(), []int{3}) {
				t.Fatalf("%q: %v", text, problems)
			}
		}
		both, problems := Compile(name+" - "+other+" > 1", p.resolve, p.names)
		if len(problems) > 0 || !slices.Equal(both.Values(), []int{3, 5}) {
			t.Fatalf("%q less %q: %v", name, other, problems)
		}
	})
}

// spelled is how many changes make b of a, by trying all ways: a byte put in, taken out,
// changed, or swapped with its neighbour, none changed twice (optimal string alignment).
func spelled(a, b string) int {
	switch {
	case a == "":
		return len(b)
	case b == "":
		return len(a)
	case a[len(a)-1] == b[len(b)-1]:
		return spelled(a[:len(a)-1], b[:len(b)-1]) // equal ends cost nothing
	}
	n := 1 + min(spelled(a[:len(a)-1], b), spelled(a, b[:len(b)-1]), spelled(a[:len(a)-1], b[:len(b)-1]))
	if i, j := len(a)-1, len(b)-1; i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
		n = min(n, 1+spelled(a[:i-1], b[:j-1]))
	}
	return n
}

// The distance of two names is that of trying all ways, the same either way round, and no
// more than the longer is long.
func TestDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringOfN(rapid.SampledFrom([]rune("abc")), 0, 6, -1)
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := distance(a, b)
		if want := spelled(a, b); d != want || distance(b, a) != d || d > max(len(a), len(b)) || (d == 0) != (a == b) {
			t.Fatalf("from %q to %q %d, want %d; and back %d", a, b, d, want, distance(b, a))
		}
	})
	// Published pairs (from memory): kitten and sitting differ by 3 (Levenshtein), ca and
	// abc by 3 where nothing is changed twice.
	for _, c := range [][2]string{{"kitten", "sitting"}, {"ca", "abc"}} {
		if d := distance(c[0], c[1]); d != 3 {
			t.Errorf("%s and %s differ by %d, want 3", c[0], c[1], d)
		}
	}
}

// Of all names the one that is meant is half a name before a misspelt one, and of those the
// first of the nearest, as long as a third of the letters at most are wrong.
func TestNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringOfN(rapid.SampledFrom([]rune("ab.")), 1, 7, -1)
		name, names := word.Draw(t, "name"), rapid.SliceOfN(word, 0, 6).Draw(t, "names")
		want, least := "", 0
		for _, n := range names {
			half := strings.HasPrefix(n, name+".") || strings.HasSuffix(n, "."+name)
			d := spelled(name, n)
			switch {
			case half && least >= 0:
				want, least = n, -1 // the first half ends the search
			case least == 0 && d <= max(1, len(name)/3), least > 0 && d+1 < least:
				want, least = n, d+1
			}
		}
		if got := nearest(name, names); got != want {
			t.Fatalf("%q of %q is %q, want %q", name, names, got, want)
		}
	})
}

// A unit that is spelled with other letters, large or small, or a raised 2 is known; one
// that is right is itself; the form of units is that of the table.
func TestUnitsAndWhatIsLikeThem(t *testing.T) {
	for _, u := range units {
		for _, name := range []string{u.name, strings.ToUpper(u.name), strings.ToLower(u.name), strings.Replace(u.name, "2", "²", 1)} {
			like := unitLike(name)
			if like == nil || !strings.EqualFold(like.name, u.name) {
				t.Errorf("%s is like %v, want %s", name, like, u.name)
			}
		}
		if unitNamed(u.name) != u || unitOfSignal(u.name) != u || !strings.Contains(unitNames(), u.name) {
			t.Errorf("%s is not found, or not told of", u.name)
		}
	}
	for _, u := range signalUnits {
		if unitNamed(u.name) != nil || unitOfSignal(u.name) != u {
			t.Errorf("%s can be written, or no signal can have it", u.name)
		}
	}
	if unitLike("bar") != nil || unitLike("") != nil || unitOfSignal("") != nil {
		t.Error("what is no unit is like one")
	}
}
