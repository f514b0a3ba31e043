package expr

import (
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/tried"
)

// compiled compiles for ward, and fails where the answer is not in order: either a program
// or problems, which lie inside the text, by column, at most so many, each saying something.
func compiled(t interface{ Fatalf(string, ...any) }, text string) (*Program, []Problem) {
	program, problems := Compile(text, ward.resolve, ward.names)
	if (program == nil) != (len(problems) > 0) || len(problems) > maxProblems {
		t.Fatalf("%q: program %v, problems %v", text, program, problems)
	}
	last := 1
	for _, p := range problems {
		if p.Column < last || p.Column > len(text)+1 || strings.TrimSpace(p.Message) == "" || strings.Contains(p.Message, "\n") {
			t.Fatalf("%q: %+v after column %d", text, p, last)
		}
		last = p.Column
	}
	return program, problems
}

// What an expression is made of, and what is mistaken for it.
var pieces = []string{
	"ankle.pressure", "cuff.pressure", "still", "wrapped", "nobody", "odd.unit", "a-b", "Ankle", "_x", "x..y", "room.humidity", "mat.share",
	"0", "1", "30", "4.5", "1e3", "1e999", ".5", "5.", "1.2.3", "2nd.x", "mmHg", "kPa", "s", "min", "%", "mmhg", "cm²", "furlong",
	"and", "or", "not", "AND", "&&", "||", "!", "<", "<=", ">", ">=", "==", "!=", "=", "=>", "≤", "≠", "∧", "+", "-", "−", "*", "/", "×", "^",
	"(", ")", "[", "}", ",", "abs(", "min(", "max(", "known(", "mean(", "true", "false", "True",
	"#", "\"", "\x00", "\xff", "\u00a0", "🦶", "\n", ";",
}

// Whatever is strung together, with blanks or without, gets an answer that is in order.
func TestAnythingStrungTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.SampledFrom(pieces), 0, 60).Draw(t, "pieces")
		compiled(t, strings.Join(words, rapid.SampledFrom([]string{"", " ", "  "}).Draw(t, "between")))
	})
}

// So does an expression that was right before bytes were taken out, put in, doubled, or cut
// off: and what still compiles says the same when its canonical text is read.
func TestExpressionsThatWereRight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &generator{t, true}
		text := writer{t}.at(g.condition(2), 0)
		for range rapid.IntRange(1, 3).Draw(t, "times") {
			from := rapid.IntRange(0, len(text)).Draw(t, "from")
			to := min(len(text), from+rapid.IntRange(0, 6).Draw(t, "bytes"))
			switch rapid.IntRange(0, 3).Draw(t, "how") {
			case 0:
				text = text[:from] + text[to:]
			case 1:
				text = text[:to] + text[from:to] + text[to:]
			case 2:
				text = text[:from] + rapid.SampledFrom(pieces).Draw(t, "piece") + text[from:]
			default:
				text = text[:from]
			}
		}
		program, _ := compiled(t, text)
		if program == nil {
			return
		}
		if again, problems := compiled(t, program.String()); again == nil || again.String() != program.String() {
			t.Fatalf("%q is %q, and that is %v, %v", text, program, again, problems)
		}
	})
}

// valid draws the canonical text of an expression that compiles.
func valid(t *rapid.T) string {
	g := &generator{t, true}
	program, _ := Compile(text(g.condition(3)), ward.resolve, ward.names)
	if program == nil {
		t.Skip("refused")
	}
	return program.String()
}

// places lists where piece stands in text by itself.
func places(text, piece string) (out []int) {
	for i := range len(text) - len(piece) + 1 {
		if text[i:i+len(piece)] == piece && (i == 0 || strings.Contains(" (", text[i-1:i])) && (i+len(piece) == len(text) || strings.Contains(" ),", text[i+len(piece):i+len(piece)+1])) {
			out = append(out, i)
		}
	}
	return out
}

// One mistake in an expression that is right is found where it is, and is the only one that
// is told of: a name that nobody knows, and a sign of another notation, of which also what
// is right is told.
func TestOneMistakeIsFoundWhereItIs(t *testing.T) {
	mistakes := []struct{ right, wrong, message string }{
		{"ankle.pressure", "heel.torque", "there is no signal heel.torque here"},
		{"still", "stil", "did you mean still?"},
		{"<=", "≤", "write <= instead of ≤"}, {">=", "=>", "write >= instead of =>"}, {"!=", "≠", "write != instead of ≠"},
		{"and", "∧", "write and instead of ∧"}, {"or", "|", "write or instead of |"}, {"and", "AND", "write and in small letters"},
		{"*", "×", "write * instead of ×"}, {"/", "÷", "write / instead of ÷"}, {"-", "−", "write - instead of −"},
		{"mmHg", "mmhg", "mmhg is not a unit: write mmHg"}, {"cm2", "cm²", "cm² is not a unit: write cm2"},
		{"true", "TRUE", "write true in small letters"},
	}
	found := 0
	tried.Check(t, tried.Count(&found, 50), func(t *rapid.T) {
		text := valid(t)
		for _, m := range mistakes {
			all := places(text, m.right)
			if len(all) == 0 {
				continue
			}
			at := all[rapid.IntRange(0, len(all)-1).Draw(t, "at")]
			wrong := text[:at] + m.wrong + text[at+len(m.right):]
			_, problems := compiled(t, wrong)
			if len(problems) != 1 || problems[0].Column != at+1 || !strings.Contains(problems[0].Message, m.message) {
				t.Fatalf("%q: %v, want column %d: %s", wrong, problems, at+1, m.message)
			}
			found++
		}
	})
}

// What has no meaning is told of where it stands, whatever is around it.
func TestWhatHasNoMeaning(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := valid(t)
		var blanks []int
		for i := range len(text) {
			if text[i] == ' ' {
				blanks = append(blanks, i)
			}
		}
		at := rapid.SampledFrom(append(blanks, 0, len(text))).Draw(t, "at")
		odd := rapid.SampledFrom([]string{"#", "\"", "\x00", "\xff", "🦶", ";", "$", "~", "?"}).Draw(t, "odd")
		_, problems := compiled(t, text[:at]+odd+text[at:])
		if !slices.ContainsFunc(problems, func(p Problem) bool {
			return p.Column == at+1 && strings.HasSuffix(p.Message, "has no meaning in an expression")
		}) {
			t.Fatalf("%q at %d in %q: %v", odd, at, text, problems)
		}
	})
}

// refused reads the expressions of testdata/refusals.txt that stand under a heading, with
// the column of each of their problems.
func refused(t *testing.T, heading string) (texts []string) {
	file, err := os.ReadFile("testdata/refusals.txt")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(file), "# "+heading+"\n")
	if !found {
		t.Fatalf("there is no %q", heading)
	}
	rest, _, _ = strings.Cut(rest, "\n#")
	for line := range strings.Lines(rest) {
		if line != "\n" && !strings.HasPrefix(line, "    ") {
			texts = append(texts, strings.TrimSuffix(line, "\n"))
		}
	}
	return texts
}

// One mistake does not hide the next: two refused conditions joined have the problems of
// both, each moved by what stands before it; and blanks before an expression move all.
func TestNoMistakeHidesAnother(t *testing.T) {
	texts := slices.Concat(refused(t, "Kinds of quantity"), refused(t, "Numbers without a unit where it is in doubt"))
	moved := func(problems []Problem, by int) (out []Problem) {
		for _, p := range problems {
			out = append(out, Problem{p.Column + by, p.Message})
		}
		return out
	}
	if len(texts) < 20 {
		t.Fatalf("%d texts", len(texts))
	}
	for i, a := range texts {
		b := texts[(i+7)%len(texts)]
		_, first := compiled(t, a)
		_, second := compiled(t, b)
		_, both := compiled(t, "("+a+") and ("+b+")")
		if want := append(moved(first, 1), moved(second, len(a)+len("() and ("))...); !slices.Equal(both, want) {
			t.Errorf("%q and %q: %v, want %v", a, b, both, want)
		}
		if _, later := compiled(t, "\n\t  "+a); !slices.Equal(later, moved(first, 4)) {
			t.Errorf("after four blanks %q: %v, want %v", a, later, moved(first, 4))
		}
	}
}
