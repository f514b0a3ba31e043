package figures

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Every line says all that it has to, and its source fits its mark: what was read has
// something that can be looked up, what was not says so.
func TestEveryFigureSaysWhereItIsFrom(t *testing.T) {
	lookedUp := regexp.MustCompile(`\d|OWASP|Bluetooth SIG`)
	seen := map[string]bool{}
	for _, f := range All() {
		for _, cell := range []string{f.Part, f.Name, f.Value, f.For, f.Source} {
			if cell == "" || cell != strings.TrimSpace(cell) {
				t.Errorf("%s: %q is empty, or has room around it", f.Name, cell)
			}
		}
		if seen[f.Name] {
			t.Errorf("%s is listed twice", f.Name)
		}
		seen[f.Name] = true
		why, ours := strings.CutPrefix(f.Source, "ours: ")
		common := strings.HasPrefix(f.Source, "common practice, no source")
		memory := strings.Contains(f.Source, "from memory")
		switch f.Mark {
		case Standard, Published:
			if ours || common || !lookedUp.MatchString(f.Source) && !strings.HasPrefix(f.Source, "as ") {
				t.Errorf("%s is marked %s, and %q names nothing that can be looked up", f.Name, f.Mark, f.Source)
			}
		case FromMemory:
			if !memory {
				t.Errorf("%s is marked %s, and %q does not say so", f.Name, f.Mark, f.Source)
			}
		case Common:
			if !common {
				t.Errorf("%s is marked %s, and %q does not say so", f.Name, f.Mark, f.Source)
			}
		case Ours:
			if !ours || len(strings.Fields(why)) < 3 {
				t.Errorf("%s is marked %s, and %q gives no reason", f.Name, f.Mark, f.Source)
			}
		case Measured, Arithmetic:
			if ours || common {
				t.Errorf("%s is marked %s, and %q says something else", f.Name, f.Mark, f.Source)
			}
		default:
			t.Errorf("%s has a mark that there is not: %q", f.Name, f.Mark)
		}
	}
	for _, m := range Marks() {
		if !slices.ContainsFunc(All(), func(f Figure) bool { return f.Mark == m }) {
			t.Errorf("nothing is marked %s", m)
		}
	}
}

func TestALineThatIsNoneIsFound(t *testing.T) {
	for _, text := range []string{"a\tb\tc\tours\n", "a\tb\tc\tours\tours: d\te\n", "\n"} {
		if list, err := read(text); err == nil {
			t.Errorf("%q was read as %v", text, list)
		}
	}
	if list, err := read("# part\na\tb\tc\tours\tours: d\n"); err != nil || len(list) != 1 || list[0].Part != "part" {
		t.Errorf("%v, %v", list, err)
	}
}
