package expr

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
	"weald/ingest/sample"
	"weald/ingest/tried"
)

// draw draws an expression and compiles it. Some that the generator makes are
// refused for a reason that it does not know of; those are drawn again.
func draw(t *rapid.T, known bool) (*generator, *tree, *Program) {
	g := &generator{t, known}
	tree := g.condition(4)
	program, problems := Compile(text(tree), ward.resolve, ward.names)
	for _, p := range problems {
		switch {
		case strings.Contains(p.Message, "divides by zero"),
			strings.Contains(p.Message, "too long"), strings.Contains(p.Message, "too deep"),
			strings.Contains(p.Message, "whichever is meant"), strings.Contains(p.Message, "such as %"): // against a signal in percent
		default:
			t.Fatalf("%s: %v", text(tree), problems)
		}
	}
	if program == nil {
		t.Skip("refused")
	}
	return g, tree, program
}

func TestAgreesWithReference(t *testing.T) {
	decided := map[sample.Truth]int{}
	tried.Check(t, tried.Each(decided, 10, sample.No, sample.Maybe, sample.Yes), func(t *rapid.T) {
		g, tree, program := draw(t, true)
		for range 5 {
			values, truths := g.readings()
			s := slow{values: values, truths: truths}
			want := s.truth(tree)
			if s.open {
				continue
			}
			if got := program.Eval(values, truths); got != want {
				t.Fatalf("%s\nof %v %v: %v, want %v", program, values, truths, got, want)
			}
			decided[want]++
		}
	})
}

// TestUnknownIsNeverFalse takes readings away one after the other: an answer
// may become unknown, and then stays so, but never turns into its opposite.
func TestUnknownIsNeverFalse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, _, program := draw(t, false)
		values, truths := g.readings()
		before := program.Eval(values, truths)
		for _, i := range rapid.Permutation([]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14}).Draw(t, "order") {
			if i < numbers {
				values[i] = math.NaN()
			} else {
				truths[i-numbers] = sample.Maybe
			}
			after := program.Eval(values, truths)
			if after != before && after != sample.Maybe {
				t.Fatalf("%s\nwithout input %d: %v has become %v", program, i, before, after)
			}
			before = after
		}
	})
}

// TestSlotsAreAll changes what is in no slot of the program.
func TestSlotsAreAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, _, program := draw(t, true)
		values, truths := g.readings()
		want := program.Eval(values, truths)
		others, otherTruths := g.readings()
		for _, i := range program.Values() {
			others[i] = values[i]
		}
		for _, i := range program.Truths() {
			otherTruths[i] = truths[i]
		}
		if got := program.Eval(others, otherTruths); got != want {
			t.Fatalf("%s: %v, and %v when what it does not use has changed", program, want, got)
		}
	})
}

// TestCanonicalMeansTheSame evaluates the canonical text against its source.
func TestCanonicalMeansTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, _, program := draw(t, true)
		again, problems := Compile(program.String(), ward.resolve, ward.names)
		if len(problems) > 0 {
			t.Fatalf("%s: %v", program, problems)
		}
		if again.String() != program.String() {
			t.Fatalf("%s\nbecame\n%s", program, again)
		}
		values, truths := g.readings()
		if got, want := again.Eval(values, truths), program.Eval(values, truths); got != want {
			t.Fatalf("%s: %v, and %v when read again", program, want, got)
		}
	})
}

// formatted is text as it is written when a Program is asked for it, or what is
// wrong with it as an expression of any place.
func formatted(text string) (string, []Problem) {
	var ps problems
	root := parse(text, &ps)
	if len(ps.list) > 0 {
		return "", ps.sorted()
	}
	return format(root), nil
}

// FuzzParse: no text makes it panic; problems lie inside the text; formatting
// is a fixed point and does not change what compiles.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"", "still", "ankle.pressure - calf.pressure > 10 mmHg and still", "not (a or !b) == c && 4-2<=1.5e3kPa",
		"max(1, min(x.y, -3 %)) > - -2h", "ankle.settling < -5 and limb.stride > 0.5 / 1 s", "mat.gradient > 20 mmHg / 1 cm or not wrapped", "((", "4,5", "30 min(", "a-b - c", "≤²\xff", "1.2.3 2nd.x 1e", "known(still)!=true",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		once, problems := formatted(text)
		for _, p := range problems {
			if p.Column < 1 || p.Column > len(text)+1 || p.Message == "" {
				t.Errorf("%q: problem %+v", text, p)
			}
		}
		program, refused := Compile(text, ward.resolve, ward.names)
		if (program == nil) != (len(refused) > 0) {
			t.Fatalf("%q: program %v, problems %v", text, program, refused)
		}
		if len(problems) > 0 {
			if program != nil {
				t.Fatalf("%q compiles, though it cannot be formatted: %v", text, problems)
			}
			return
		}
		if twice, problems := formatted(once); twice != once || len(problems) > 0 {
			t.Fatalf("%q\nis %q\nis %q %v", text, once, twice, problems)
		}
		again, refusedAgain := Compile(once, ward.resolve, ward.names)
		if (again == nil) != (program == nil) {
			t.Fatalf("%q: %v\n%q: %v", text, refused, once, refusedAgain)
		}
		if program != nil {
			values, truths := readings()
			if got, want := again.Eval(values, truths), program.Eval(values, truths); got != want {
				t.Fatalf("%q: %v, formatted %q: %v", text, want, once, got)
			}
		}
	})
}
