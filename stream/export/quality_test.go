package export

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"
)

// someRows are n readings a second apart, some unknown, some with what they say beside the value.
func someRows(seed uint64, n int) []Row {
	draw := rand.New(rand.NewPCG(seed, 0))
	rows := make([]Row, n)
	doubtful := seed%2 == 0
	for i := range rows {
		if draw.IntN(30) == 0 {
			doubtful = !doubtful
		}
		rows[i].Values = []float64{float64(i)}
		if draw.IntN(10) == 0 {
			rows[i].Values[0] = []float64{unknown, math.Inf(1)}[draw.IntN(2)]
		}
		if draw.IntN(10) > 0 {
			rows[i].U = []float64{[]float64{unknown, 0.7280109889280518, 1.5, 2.25, 12}[draw.IntN(5)]}
			rows[i].Doubts = []Doubt{0}
			if doubtful {
				rows[i].Doubts[0] = Doubt(draw.IntN(4))
			}
		}
	}
	return rows
}

// Holds that of one track CSV says beside each value what Parquet says, the uncertainty to three
// digits.
func TestCSVSaysWhatParquetSays(t *testing.T) {
	folder := t.TempDir()
	const n = 2000
	r := one(Signal{Name: "ankle.pressure", Unit: "mmHg"}, n*time.Second, seconds(someRows(1, n)...))
	tables, err := CSV(t.Context(), r, folder, "x", Options{})
	if err != nil {
		t.Fatal(err)
	}
	columns, err := Parquet(t.Context(), r, folder, "x", Options{})
	if err != nil {
		t.Fatal(err)
	}
	rows := table(t, tables[0].Path)
	want := readParquet[Reading](t, columns[0].Path)
	if len(rows) != len(want)+1 {
		t.Fatalf("%d rows and %d readings", len(rows), len(want))
	}
	truth := func(b *bool) string {
		switch {
		case b == nil:
			return ""
		case *b:
			return "1"
		}
		return "0"
	}
	number := func(v *float64) float64 {
		if v == nil {
			return unknown
		}
		return *v
	}
	for i, w := range want {
		got := rows[i+1]
		for k, v := range []*float64{w.Value, w.U} {
			read, err := strconv.ParseFloat(got[2+k], 64)
			if got[2+k] == "" {
				read, err = unknown, nil
			}
			if exact := number(v); err != nil || !near([]float64{read}, []float64{exact}, float64(k)*0.0051*math.Abs(exact)+1e-300) {
				t.Fatalf("row %d is %q, and in Parquet %v ± %v", i, got, number(w.Value), number(w.U))
			}
		}
		if got[4] != truth(w.Extrapolated) || got[5] != truth(w.Expired) {
			t.Fatalf("row %d is %q, and in Parquet %q, %q", i, got, truth(w.Extrapolated), truth(w.Expired))
		}
	}
}

// Holds that a reading is in a table though it ends when it comes: one that counts with another's,
// which is stale just then, does.
func TestAReadingIsOneAtItsOwnInstant(t *testing.T) {
	r := one(Signal{Name: "ankle.pressure"}, time.Second, func(yield func(Row, error) bool) {
		yield(Row{At: start, Until: start, Values: []float64{40}}, nil)
	})
	files, err := CSV(t.Context(), r, t.TempDir(), "x", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if rows := table(t, files[0].Path); len(rows) != 2 || rows[1][2] != "40" {
		t.Errorf("%q", rows)
	}
}

// Holds that the annotations of an EDF+ file are linked to their signal, bound every uncertainty,
// and cover every sample that is in doubt, with how many they cover that are not.
func TestEDFAnnotatesUncertaintyAndDoubt(t *testing.T) {
	folder := t.TempDir()
	for seed := range uint64(20) {
		n := 1 + int(seed)*15
		rows := someRows(seed, n)
		rows[0].Values[0] = 0 // so that there is a file
		f, err := EDF(t.Context(), one(Signal{Name: "ankle.pressure", Unit: "mmHg"}, time.Duration(n)*time.Second, seconds(rows...)), folder, fmt.Sprint(seed), EDFOptions{})
		if err != nil {
			t.Fatal(err)
		}
		e := readPlainEDF(t, f.Path)
		var said [2][]string
		us := "-"
		for _, a := range e.tal {
			text, label, linked := strings.Cut(a.text, "@@")
			if !linked || label != e.label[0] {
				t.Fatalf("an annotation says %q of the signal %q", a.text, e.label[0])
			}
			span := fmt.Sprintf("%v+%v ", a.onset, a.duration)
			if u, is := strings.CutPrefix(text, "standard uncertainty "); is {
				us = span + u
				continue
			}
			for i, w := range []string{"outside of the calibrated range", "by a calibration past its date"} {
				if rest, is := strings.CutPrefix(text, w); is {
					said[i] = append(said[i], span+strings.TrimSpace(rest))
				}
			}
		}
		if want := slowUncertainty(rows); us != want {
			t.Fatalf("the uncertainty is said to be %q, want %q", us, want)
		}
		for i, d := range []Doubt{Extrapolated, Expired} {
			if want := slowDoubts(rows, d); fmt.Sprint(said[i]) != fmt.Sprint(want) {
				t.Fatalf("doubt %d is said to be %q, want %q", d, said[i], want)
			}
		}
	}
}

// known are the indices of rows, a second apart, whose value is known.
func known(rows []Row) (all []int) {
	for i, r := range rows {
		if !math.IsNaN(r.Values[0]) && !math.IsInf(r.Values[0], 0) {
			all = append(all, i)
		}
	}
	return all
}

func slowUncertainty(rows []Row) string {
	low, high, told := math.Inf(1), 0.0, 0
	all := known(rows)
	for _, i := range all {
		if r := rows[i]; r.U != nil && !math.IsNaN(r.U[0]) {
			low, high, told = min(low, r.U[0]), max(high, r.U[0]), told+1
		}
	}
	if told == 0 {
		return "-"
	}
	text := fmt.Sprintf("%.3g", low)
	if low != high {
		text += fmt.Sprintf(" to %.3g", high)
	}
	text += " mmHg"
	if told < len(all) {
		text += fmt.Sprintf(" (%d of %d samples)", told, len(all))
	}
	return fmt.Sprintf("%d+%d ", all[0], all[len(all)-1]+1-all[0]) + text
}

// slowDoubts are the runs of a doubt that no more than a minute parts.
func slowDoubts(rows []Row, d Doubt) (all []string) {
	is := func(i int) bool { return rows[i].Doubts != nil && rows[i].Doubts[0]&d != 0 }
	in := known(rows)
	for len(in) > 0 {
		if !is(in[0]) {
			in = in[1:]
			continue
		}
		end := 0 // index in in of the last of the run
		for k := range in {
			if is(in[k]) && in[k]-(in[end]+1) <= 60 {
				end = k
			}
		}
		count := 0
		for _, i := range in[:end+1] {
			if is(i) {
				count++
			}
		}
		text := fmt.Sprintf("%d+%d ", in[0], in[end]+1-in[0])
		if count < end+1 {
			text += fmt.Sprintf("(%d of %d samples)", count, end+1)
		}
		all = append(all, text)
		in = in[end+1:]
	}
	return all
}
