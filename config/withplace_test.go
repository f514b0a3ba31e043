package config

import (
	"strings"
	"testing"
)

func TestAPlaceIsJudgedAsTheFileIs(t *testing.T) {
	c := bedConfig(t, "head: first_row")
	site := func(id string, channels ...string) []NewSite { return []NewSite{{id, channels}} }
	for _, k := range []struct {
		id, kind string
		sites    []NewSite
		problem  string
	}{
		{"bench-9", "wrap", site("ankle", "hub/mat/3", "hub/mat/4"), ""},
		{"bed-4", "wrap", site("ankle", "hub/mat/3"), `place:2:9: the file has a place "bed-4" already`},
		{"bench-9", "wrap", site("ankle", "hub/mat/128"), "place:5:32: channel 128 does not exist: hub/mat has channels 0 to 127"},
		{"bench-9", "wrap", site("ankle", "hub/leg/0"), `place:5:32: bridge hub has no source "leg"`},
		{"bench-9", "wrap", site("ankle", "nub/leg/0"), `place:5:32: there is no bridge "nub"`},
		{"bench-9", "shelf", site("ankle", "hub/mat/3"), "place:3:11: "},
		{"bench 9", "wrap", site("ankle", "hub/mat/3"), "place:2:9: "},
		{"bench-9", "wrap", nil, "place:"},
	} {
		text := (&NewPlace{ID: k.id, Kind: k.kind, Sites: k.sites}).Text()
		p := c.WithPlaces([]byte(text))
		got := append(p.Piece, p.File...).Error()
		if !strings.HasPrefix(got, k.problem) || (got == "") != (k.problem == "") {
			t.Errorf("%s: got %q, want %q", text, got, k.problem)
		}
	}
}

// What is accepted as a piece is accepted in the file.
func TestAPlaceGoesIntoTheFile(t *testing.T) {
	text := (&NewPlace{ID: "bench-9", Kind: "wrap", Sites: []NewSite{{"ankle", []string{"hub/mat/3"}}}}).Text()
	file := strings.Replace(bedFile, "%s\nrules:", "head: last_row\n"+strings.TrimPrefix(text, "places:\n")+"rules:", 1)
	c, found := Parse("weald.yaml", []byte(file))
	if len(found) > 0 || len(c.Places) != 2 || c.Places[1].Sites[0].Channels[0].Index != 3 {
		t.Fatalf("%s\n%v", file, found)
	}
}

func TestAMatGoesIntoTheFile(t *testing.T) {
	mat := NewMat{Source: "hub/mat", Rows: 8, Columns: 16, PitchMM: &[2]float64{25, 27.5}, Head: LastColumn, FromBelow: true}
	text := (&NewPlace{ID: "bed-5", Kind: "bed", Mat: &mat}).Text()
	file := strings.Replace(bedFile, "%s\nrules:", "head: last_row\n"+strings.TrimPrefix(text, "places:\n")+"rules:", 1)
	c, found := Parse("weald.yaml", []byte(file))
	if len(found) > 0 {
		t.Fatalf("%s\n%v", file, found)
	}
	m := c.Places[1].Mat
	if m.Rows != 8 || m.Columns != 16 || *m.PitchMM != *mat.PitchMM || m.Head != LastColumn || !m.FromBelow {
		t.Errorf("%+v", m)
	}
	mat.Rows = 9
	p := bedConfig(t, "head: last_row").WithPlaces([]byte((&NewPlace{ID: "bed-5", Kind: "bed", Mat: &mat}).Text()))
	if got := p.Piece.Error(); !strings.HasPrefix(got, "place:4:34: 9 rows of 16 columns are 144 cells") {
		t.Error(got)
	}
}
