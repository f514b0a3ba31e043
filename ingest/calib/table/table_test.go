package table

import (
	"io"
	"reflect"
	"strings"
	"testing"

	"weald/ingest/calib/figures"
)

func TestRead(t *testing.T) {
	got, err := Read("t.csv", strings.NewReader("\ufeffraw, reference_mmhg ,direction,cycle\n# a remark\n240,0,up,1\n\n150.5, 40,Down,2\n90,80,,\n"))
	want := []figures.Row{
		{Cycle: 1, Direction: figures.Up, Reference: 0, Raw: 240}, {Cycle: 2, Direction: figures.Down, Reference: 40, Raw: 150.5}, {Reference: 80, Raw: 90},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("read %+v, %v, want %+v", got, err, want)
	}
}

func TestProblems(t *testing.T) {
	for text, says := range map[string][]string{
		"":                              {"t.csv: is empty"},
		"reference_mmhg,raw\n":          {"has no readings"},
		"reference_kpa,raw\n1,2\n":      {"in kPa: multiply", "\"reference_mmhg\" is missing"},
		"reference_mmhg,counts\n1,2\n":  {"\"counts\" is not known", "\"raw\" is missing"},
		"reference_mmhg,raw,raw\n1,2,3": {"there twice"},
		"reference_mmhg,raw,cycle,direction\n1,x,1,up\n1,2,-1,sideways\n1,2\n1,NaN,,": {
			`t.csv:2: raw is "x"`, `t.csv:3: cycle is "-1"`, `direction is "sideways"`, "t.csv:4: has 2 fields, want 4", `t.csv:5: raw is "NaN"`,
		},
	} {
		_, err := Read("t.csv", strings.NewReader(text))
		for _, s := range says {
			if err == nil || !strings.Contains(err.Error(), s) {
				t.Errorf("%q: error %v, want one that says %q", text, err, s)
			}
		}
	}
}

// A file that is no table, or never ends, ends here.
func TestBoundsOfATable(t *testing.T) {
	for text, says := range map[string]string{
		"1,x\n": "has more than 100 bad lines",
		"1,2\n": "has more than 500000 lines",
	} {
		_, err := Read("t.csv", io.MultiReader(strings.NewReader("reference_mmhg,raw\n"), &endless{text: text}))
		if err == nil || !strings.Contains(err.Error(), says) || strings.Count(err.Error(), "\n") > 100 {
			t.Errorf("%q without end: %.200v, want %q", text, err, says)
		}
	}
}

// endless repeats a text for ever.
type endless struct {
	text string
	at   int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.text[e.at%len(e.text)]
		e.at++
	}
	return len(p), nil
}

func FuzzRead(f *testing.F) {
	f.Add("reference_mmhg,raw,cycle,direction\n0,240,1,up\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := Read("t", strings.NewReader(text))
		if (err == nil) != (len(rows) > 0) {
			t.Fatalf("%d rows and error %v", len(rows), err)
		}
		for _, r := range rows {
			if r.Raw != r.Raw || r.Reference != r.Reference {
				t.Fatalf("a missing number in %+v", r)
			}
		}
	})
}

func TestReadHeld(t *testing.T) {
	got, err := ReadHeld("h.csv", strings.NewReader("raw,age_s\n900,1\n905.5,10\n"))
	if want := []Held{{1, 900}, {10, 905.5}}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("read %+v, %v, want %+v", got, err, want)
	}
	if _, err := ReadHeld("h.csv", strings.NewReader("age_s,raw,cycle\n-1,3,1\n")); err == nil || !strings.Contains(err.Error(), `"cycle" is not known`) {
		t.Errorf("a column too many: %v", err)
	}
	if _, err := ReadHeld("h.csv", strings.NewReader("age_s,raw\n-1,3\n2,\n")); err == nil || !strings.Contains(err.Error(), "h.csv:2: age_s is below 0") || !strings.Contains(err.Error(), `h.csv:3: raw is ""`) {
		t.Errorf("bad lines: %v", err)
	}
}
