package main

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/recorded"
)

// A row is one line of a recording of a seat: when, and 12 cells.
type row struct {
	at    float64 // seconds
	cells []float64
}

func seatRows(t *testing.T, path string) (rows []row) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		words := strings.Split(lines.Text(), ",")
		if len(words) < 3 || words[1] != "seat" {
			continue
		}
		var r row
		for i, w := range append(words[:1:1], words[2:]...) {
			v, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			if i == 0 {
				r.at = v
			} else {
				r.cells = append(r.cells, v)
			}
		}
		rows = append(rows, r)
	}
	return rows
}

const seatConfig = `
bridges:
  - id: chair
    link: {file: {path: drive.csv}}
    format: delimited
    delimited:
      separator: ","
      time: {column: 0, as: seconds}
      source: {column: 1, is: {seat: 0, back: 1}}
      channels: [2-13]
    sources:
      - {number: 0, id: seat, channels: 12, rate: 11, unit: mmHg, stale_after: 1s}
      - {number: 1, id: back, channels: 12, rate: 11, unit: mmHg, stale_after: 1s}
places:
  - id: seat-1
    kind: seat
    sites:
      - {id: front, channels: [chair/seat/4]}
      - {id: middle, channels: [chair/seat/8]}
      - {id: pair, channels: [chair/seat/9, chair/seat/10]}
rules:
  - {id: front, at: {place: seat-1}, limit: {watch: front.pressure, above: 20}}
  - {id: middle, at: {place: seat-1}, limit: {watch: middle.pressure, above: 180}}
  - {id: pair, at: {place: seat-1}, limit: {watch: pair.pressure, above: 85.5}}
`

// raggedConfig is of recordings of the seat alone, whose rows have no time and are not all of
// one length.
var raggedConfig = strings.NewReplacer(
	"time: {column: 0, as: seconds}", `time: {period: 90ms, start: "2026-03-01T10:00:00Z"}`,
	"      source: {column: 1, is: {seat: 0, back: 1}}\n", "",
	"channels: [2-13]", "channels: [0-11]\n      columns: 32",
	"      - {number: 1, id: back, channels: 12, rate: 11, unit: mmHg, stale_after: 1s}\n", "",
).Replace(seatConfig)

// The clock of these recordings is uneven: 90 ms mostly, 130 to 182 ms for a
// fifth of the steps. Seconds above a limit must be those of the times that the
// recording itself gives, not the number of readings times a nominal period.
func TestSecondsAboveALimitOnAnUnevenClock(t *testing.T) {
	t.Parallel()
	files := recorded.Files(t, "seat-drives", "speed_*.csv")
	if len(files) < 20 {
		t.Fatalf("found %d drives", len(files))
	}
	config := write(t, "seat.yaml", seatConfig)
	compared, nominalOff := 0, 0.0
	for _, file := range files {
		rows := seatRows(t, file)
		events, _ := rehearsed(t, "-c", config, "--input", "chair="+file)
		for rule, value := range map[string]func(c []float64) bool{
			"front":  func(c []float64) bool { return c[4] > 20 },
			"middle": func(c []float64) bool { return c[8] > 180 },
			"pair":   func(c []float64) bool { return (c[9]+c[10])/2 > 85.5 },
		} {
			want, readings := 0.0, 0
			for i, r := range rows[:len(rows)-1] {
				if value(r.cells) {
					want += min(rows[i+1].at-r.at, 1)
					readings++
				}
			}
			got := secondsRaised(t, events, rule, rows[len(rows)-1].at)
			if math.Abs(got-want) > 0.2 {
				t.Errorf("%s, %s: %.3f s above the limit, time-weighted arithmetic says %.3f s", filepath.Base(file), rule, got, want)
			}
			compared++
			nominalOff = max(nominalOff, math.Abs(float64(readings)*0.09-want))
		}
	}
	t.Logf("%d comparisons; counting readings of 90 ms would be off by up to %.1f s", compared, nominalOff)
	if nominalOff < 1 {
		t.Error("the recordings are too even to prove anything")
	}
}

// secondsRaised adds up how long a rule's alert stood; one that still stands at
// the end, or that lost its signal, is counted as long as the signal lasted.
func secondsRaised(t *testing.T, events []eventLine, rule string, end float64) (sum float64) {
	t.Helper()
	since := math.NaN()
	for _, e := range events {
		if e.Rule != rule {
			continue
		}
		at, err := time.Parse(time.RFC3339Nano, e.At)
		if err != nil {
			t.Fatal(err)
		}
		now := float64(at.UnixNano()) / 1e9
		switch e.Event {
		case "raised", "known":
			since = now
		case "cleared", "unknown":
			if !math.IsNaN(since) {
				sum += now - since
			}
			since = math.NaN()
		}
	}
	if !math.IsNaN(since) {
		sum += end - since
	}
	return sum
}

const walkConfig = `
bridges:
  - id: sole
    link: {file: {path: walk.txt}}
    format: delimited
    delimited:
      separator: "\t"
      time: {column: 0, as: seconds}
      channels: [17, 18]
    sources:
      - {number: 0, id: feet, channels: 2, rate: 100, unit: mmHg}
places:
  - id: walk
    kind: wrap
    sites:
      - {id: left, channels: [sole/feet/0]}
      - {id: right, channels: [sole/feet/1]}
rules:
  - {id: second, at: {place: walk}, limit: {watch: left.pressure, above: 800}, on_delay: 1s}
  - {id: half, at: {place: walk}, limit: {watch: left.pressure, above: 800}, on_delay: 500ms}
`

// A step lasts about 0.7 s: a load for half a second is found in it, a load for
// a whole second is not, although the foot is above the limit for minutes in
// all. (The numbers are newtons at the source; the unit is invented.)
func TestStepsAtAHundredHertz(t *testing.T) {
	file := recorded.Path(t, "walking", "GaCo01_01.txt")
	events, s := rehearsed(t, "-c", write(t, "walk.yaml", walkConfig), "--input", "sole="+file)
	raised := map[string]int{}
	for _, e := range events {
		if e.Event == "raised" {
			raised[e.Rule]++
		}
	}
	if raised["second"] != 0 || raised["half"] == 0 {
		t.Errorf("raised %v, want none after a second and some after half of one", raised)
	}
	if want := steps(t, file, 0.5); raised["half"] != want {
		t.Errorf("raised %d times after half a second, the file has %d such loads", raised["half"], want)
	}
	if s.Scans != 12119 || s.Late != 0 {
		t.Errorf("%d scans, %d late", s.Scans, s.Late)
	}
}

// steps counts the loads above 800 that last for so many seconds, by the times
// in the file.
func steps(t *testing.T, file string, seconds float64) (n int) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	since, counted := math.NaN(), false
	for line := range strings.Lines(string(b)) {
		words := strings.Fields(line)
		at, _ := strconv.ParseFloat(words[0], 64)
		load, err := strconv.ParseFloat(words[17], 64)
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(since) && !counted && at-since >= seconds-1e-9 {
			n++
			counted = true
		}
		switch {
		case load <= 800:
			since, counted = math.NaN(), false
		case math.IsNaN(since):
			since = at
		}
	}
	return n
}

// Files without a time are played by a period; ragged rows are refused and
// counted, and the others are judged.
func TestRecordingWithoutTimes(t *testing.T) {
	file := recorded.Path(t, "seat-drives", "user1_s1.csv")
	_, s := rehearsed(t, "-c", write(t, "seat.yaml", raggedConfig), "--input", "chair="+file)
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	whole, ragged := 0, uint64(0)
	for line := range strings.Lines(string(b)) {
		if strings.Count(line, ",") == 31 {
			whole++
		} else {
			ragged++
		}
	}
	if s.Scans != whole || s.Inputs[0].Bad["fields"] != ragged || ragged == 0 {
		t.Errorf("%d scans and %v refused, want %d and %d: %s", s.Scans, s.Inputs[0].Bad, whole, ragged, fmt.Sprint(s))
	}
}
