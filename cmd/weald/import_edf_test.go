package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/stream/export/edf"
)

const edfRecordConfig = `
data: data
bridges:
  - id: logger
    link: {file: {path: leg.csv}}
    format: delimited
    delimited: {separator: ",", time: {column: 0, as: seconds}, channels: [1, 2]}
    sources: [{number: 0, id: leg, channels: 2, rate: 2, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [logger/leg/0]}, {id: calf, channels: [logger/leg/1]}]}
rules: []
`

// said runs a command and returns what it said.
func said(t *testing.T, want int, args ...string) string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), args, &stdout, &stderr); code != want {
		t.Fatalf("%v ended with %d: %s%s", args, code, stdout.String(), stderr.String())
	}
	return stdout.String() + stderr.String()
}

// exported makes a record, and of it k07.edf, in a folder that becomes the
// working one.
func exported(t *testing.T) {
	t.Helper()
	t.Chdir(t.TempDir())
	if err := smallRecord("data"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("weald.yaml", []byte(edfRecordConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	said(t, 0, "export", "-c", "weald.yaml", "--place", "bench-1", "--format", "edf", "--out", "k07.edf")
}

// What was recorded comes back out of an EDF+ file to within half of a digital
// step, at its own instants, and nothing comes back where nothing was.
func TestEDFComesBack(t *testing.T) {
	exported(t)
	said(t, 0, "import", "--edf", "k07.edf", "--out", "back")

	f, err := os.Open("k07.edf")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := edf.NewReader(f, edf.Strict)
	if err != nil {
		t.Fatal(err)
	}
	half := []float64{r.Header().Signals[0].Scale.Step() / 2, r.Header().Signals[1].Scale.Step() / 2}
	rows, err := os.Open(filepath.Join("back", "rows-1.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	all, err := csv.NewReader(rows).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	began := time.Date(2026, 3, 1, 22, 0, 0, 0, time.UTC)
	seen := map[float64]bool{}
	for _, row := range all[1:] {
		at, err := time.Parse(time.RFC3339Nano, row[0])
		if err != nil {
			t.Fatal(err)
		}
		s := at.Sub(began).Seconds()
		want := []float64{40 + s, 20}
		switch {
		case s == 40:
			want[0] = 77
		case s >= 21 && s < 30:
			t.Errorf("at %v s there was nothing, and there is %v", s, row)
			continue
		case s >= 20 && s < 30: // held for as long as values last
			want[0] = 59.5
		}
		seen[s] = true
		for k := range want {
			if got, err := strconv.ParseFloat(row[1+k], 64); err != nil || math.Abs(got-want[k]) > half[k]*(1+1e-9) {
				t.Errorf("at %v s signal %d is %v, not within %v of %v", s, k, row[1+k], half[k], want[k])
			}
		}
	}
	for i := range 120 {
		if s := float64(i) / 2; (s < 20 || s >= 30) && !seen[s] {
			t.Errorf("what was recorded at %v s did not come back", s)
		}
	}
}

// Files of other programs have no pressure under a body in them: what is left out
// is said, with its unit, and nothing is written.
func TestEDFOfOthers(t *testing.T) {
	dir := recorded.Path(t, "edf")
	for name, reason := range map[string]string{
		"pyedflib_test_generator.edf": `is in "uV" and not in mmHg`,
		"short_psg.edf":               "and not in mmHg",
		"test_subsecond.edf":          "and not in mmHg",
		"mne_test.edf":                "and not in mmHg",
		"SC4001EC-Hypnogram.edf":      "no signal in mmHg",
	} {
		out := filepath.Join(t.TempDir(), "out")
		text := said(t, 1, "import", "--edf", filepath.Join(dir, name), "--out", out)
		if !strings.Contains(text, reason) || !strings.Contains(text, "nothing was written") {
			t.Errorf("%s: %s", name, text)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s: something was written", name)
		}
	}
}

// interrupted returns a context that has ended.
func interrupted(t *testing.T) context.Context {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	return ctx
}

// An import that is interrupted leaves nothing, not even under another name.
func TestEDFInterrupted(t *testing.T) {
	exported(t)
	for _, args := range [][]string{
		{"import", "--edf", "k07.edf", "--out", "back"},
		{"export", "-c", "weald.yaml", "--place", "bench-1", "--format", "csv", "--out", "csv"},
		{"export", "-c", "weald.yaml", "--place", "bench-1", "--format", "parquet", "--out", "k07.parquet"},
		{"export", "-c", "weald.yaml", "--place", "bench-1", "--format", "edf", "--out", "other.edf"},
		{"export", "-c", "weald.yaml", "--place", "bench-1", "--format", "fhir", "--out", "other.json"},
	} {
		var stderr bytes.Buffer
		if code := run(interrupted(t), args, &stderr, &stderr); code == 0 {
			t.Errorf("%v ended with 0", args)
		}
	}
	left, err := filepath.Glob("*")
	hidden, _ := filepath.Glob(".*")
	inside, _ := filepath.Glob("csv/*")
	if err != nil || len(inside) > 0 || len(hidden) > 0 || strings.Contains(strings.Join(left, " "), "back") ||
		strings.Contains(strings.Join(left, " "), "parquet") || strings.Contains(strings.Join(left, " "), "other") {
		t.Errorf("left: %v %v %v", left, hidden, inside)
	}
}
