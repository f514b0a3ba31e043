package export

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// table reads a file with the standard library's reader of RFC 4180.
func table(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows
}

func TestCSVGolden(t *testing.T) {
	files, err := CSV(t.Context(), bench(), t.TempDir(), "k07", Options{})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, filepath.Base(f.Path))
		golden(t, f.Path)
		if info, err := os.Stat(f.Path); err != nil || info.Size() != f.Bytes || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", f.Path, info, err)
		}
		if rows := table(t, f.Path); int64(len(rows)-1) != f.Rows && !strings.HasSuffix(f.Path, "-about.csv") {
			t.Errorf("%s has %d rows, said to be %d", f.Path, len(rows)-1, f.Rows)
		}
	}
	want := []string{"k07-2-per-s.csv", "k07-1-per-s.csv", "k07-irregular.csv", "k07-events.csv", "k07-about.csv"}
	if !slices.Equal(names, want) {
		t.Errorf("files %v, want %v", names, want)
	}
}

// Two tracks of one rate are one file: each row is an instant of one of them,
// with what is in force of the other.
func TestCSVOfTwoTracksOfOneRate(t *testing.T) {
	second := rowsOf(time.Second, []float64{1}, []float64{2}, nil, nil, []float64{3})
	r := Recording{
		Header: Header{Start: start, End: after(time.Minute)},
		Tracks: []Track{
			{Signals: []Signal{{Name: "a", Unit: "mmHg"}}, Rate: 1, StaleAfter: 1500 * time.Millisecond, Rows: second},
			{Signals: []Signal{{Name: "b"}}, Rate: 1, StaleAfter: 1500 * time.Millisecond, Rows: func(yield func(Row, error) bool) {
				for row := range second {
					row.At = row.At.Add(250 * time.Millisecond)
					row.Values, row.U, row.Doubts = []float64{10 * row.Values[0]}, []float64{row.Values[0] / 3}, []Doubt{Expired}
					if !yield(row, nil) {
						return
					}
				}
			}},
		},
	}
	files, err := CSV(t.Context(), r, t.TempDir(), "x", Options{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, row := range table(t, files[0].Path)[1:] {
		got = append(got, strings.Join(row[1:], ","))
	}
	want := []string{"0,1,,,,,,,", "0.25,1,,,,10,0.333,0,1", "1,2,,,,10,0.333,0,1", "1.25,2,,,,20,0.667,0,1", "4,3,,,,,,,", "4.25,3,,,,30,1,0,1"}
	if !slices.Equal(got, want) {
		t.Errorf("rows %q, want %q", got, want)
	}
	if head := table(t, files[0].Path)[0]; !slices.Equal(head, []string{"time", "seconds", "a (mmHg)", "a u (mmHg)", "a extrapolated", "a expired", "b", "b u", "b extrapolated", "b expired"}) {
		t.Errorf("header %q", head)
	}
}

// RFC 4180, section 2, rules 5 to 7: quotes around what has line breaks, quotes
// or commas, and quotes doubled inside them.
func TestCSVQuoting(t *testing.T) {
	for text, want := range map[string]string{
		"aaa":             "aaa\r\n",
		"b CRLF\r\nbb":    "\"b CRLF\r\nbb\"\r\n",
		`b"bb`:            "\"b\"\"bb\"\r\n",
		"a,b":             "\"a,b\"\r\n",
		"":                "\"\"\r\n",
		"=1+2":            "'=1+2\r\n",
		"@sum":            "'@sum\r\n",
		"-":               "'-\r\n",
		"grüßt, \"wohl\"": "\"grüßt, \"\"wohl\"\"\"\r\n",
	} {
		var row csvRow
		row.begin()
		row.text(text)
		if got := string(row.end()); got != want {
			t.Errorf("%q is written %q, want %q", text, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SliceOfN(rapid.StringMatching(`[a-c" ,;\n]{0,6}`), 1, 5).Draw(t, "cells")
		var row csvRow
		row.begin()
		for _, c := range cells {
			row.text(c)
		}
		got, err := csv.NewReader(strings.NewReader(string(row.end()))).Read()
		if err != nil || !slices.Equal(got, cells) {
			t.Fatalf("%q is read as %q, %v", cells, got, err)
		}
	})
}

func TestCSVNumbersReadBackExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		var row csvRow
		row.begin()
		row.number(v)
		text := strings.TrimSuffix(string(row.end()), "\r\n")
		if back, err := strconv.ParseFloat(text, 64); err != nil || back != v {
			t.Fatalf("%v is written %q and read as %v, %v", v, text, back, err)
		}
		if len(text) > 26 {
			t.Fatalf("%v is written %q", v, text)
		}
	})
	var row csvRow
	row.begin()
	row.text("x")
	row.number(unknown)
	row.number(0)
	if got := string(row.end()); got != "x,,0\r\n" {
		t.Errorf("unknown and zero are written %q", got)
	}
}

// Times are those of the place, to the nanosecond, and count from the start.
func TestCSVTimes(t *testing.T) {
	var row csvRow
	row.begin()
	row.text("x")
	row.instant(after(90*time.Minute+1), start, east)
	row.instant(after(-1500*time.Millisecond), start, time.UTC)
	if got, want := string(row.end()), "x,2031-03-02T09:35:09.000000001+02:00,5400.000000001,2031-03-02T06:05:07.5Z,-1.5\r\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
