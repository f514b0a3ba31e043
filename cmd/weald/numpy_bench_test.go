package main

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/capture"
	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

const numpyMat = `
bridges:
  - {id: hub, link: {file: {path: bed.cap}}, format: packed, sources: [{number: 1, id: mat, channels: 2048, rate: 1, calibration: {slope: 0.05, offset: 0, u: 3}}]}
places:
  - {id: bed-1, kind: bed, mat: {source: hub/mat, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}
rules:
  - {id: loaded, at: {place: bed-1}, limit: {watch: mat.pressure, above: 30, deadband: 2}, on_delay: 30m, resets_after: 2m, off_delay: 30s, priority: medium}
`

const numpyFour = `
bridges:
  - id: hub
    link: {file: {path: leg.csv}}
    format: delimited
    delimited: {separator: ",", time: {column: 0, as: seconds}, channels: [1, 2, 3, 4]}
    sources: [{number: 0, id: leg, channels: 4, rate: 10, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0, hub/leg/1]}, {id: calf, channels: [hub/leg/2, hub/leg/3]}]}
rules:
  - {id: tight, at: {place: bench-1}, limit: {watch: ankle.pressure, above: 40, deadband: 3}, on_delay: 30s, resets_after: 5s, off_delay: 5s, priority: medium}
`

// BenchmarkRehearseBesideNumPy rehearses two hours, and has a NumPy script find the
// same from the same readings, in turn. The script is spared what a capture has beside
// its readings, and the start of Python.
func BenchmarkRehearseBesideNumPy(b *testing.B) {
	python := ""
	for _, p := range []string{"python3", "/usr/bin/python3"} { // the system's may have it where another one comes first
		if exec.Command(p, "-c", "import numpy").Run() == nil {
			python = p
			break
		}
	}
	if python == "" {
		b.Skip("there is no python3 with numpy")
	}
	for _, c := range []struct {
		name, config string
		write        func(tb testing.TB, dir string, hours int) (recording, bare string)
	}{
		{"mat", numpyMat, writeMatForNumPy},
		{"four", numpyFour, writeLegForNumPy},
		{"series", numpyFour, writeLegForNumPy},
	} {
		b.Run(c.name, func(b *testing.B) {
			dir := b.TempDir()
			recording, bare := c.write(b, dir, numpyHours)
			name := filepath.Join(dir, "weald.yaml")
			if err := os.WriteFile(name, []byte(c.config), 0o600); err != nil {
				b.Fatal(err)
			}
			args := append([]string{c.name, bare}, regionsOf(b, c.config)...)
			var ours, theirs time.Duration
			for b.Loop() {
				began := time.Now()
				events, _ := rehearsed(b, "-c", name, "--input", "hub="+recording)
				ours += time.Since(began)
				found, took := inNumPy(b, python, args...)
				theirs += took
				if len(events) == 0 || len(events) != len(found) {
					b.Fatalf("%d events, and %d in NumPy:\n%v\n%v", len(events), len(found), events, found)
				}
				for i, e := range events {
					at, err := time.Parse(time.RFC3339Nano, e.At)
					if err != nil {
						b.Fatal(err)
					}
					if s := float64(at.UnixNano()) / 1e9; math.Abs(s-found[i].second) > 0.0015 || e.Event+" "+e.Subject != found[i].what {
						b.Errorf("%s %s at %.3f s, in NumPy %s at %.3f s", e.Event, e.Subject, s, found[i].what, found[i].second)
					}
				}
			}
			b.ReportMetric(ours.Seconds()/float64(b.N), "s/weald")
			b.ReportMetric(theirs.Seconds()/float64(b.N), "s/numpy")
			b.ReportMetric(theirs.Seconds()/ours.Seconds(), "times")
		})
	}
}

// regionsOf says of which rows each region of a mat is, where there is one.
func regionsOf(tb testing.TB, text string) (args []string) {
	tb.Helper()
	c := parsedAs(tb, "weald.yaml", text)
	if mat := c.Plan().Places[0].Mat; mat != nil {
		for _, r := range mat.Regions {
			first, last := r.Cells[0]/mat.Columns, r.Cells[len(r.Cells)-1]/mat.Columns
			if len(r.Cells) != (last-first+1)*mat.Columns {
				tb.Fatalf("region %s is not of whole rows", r.ID)
			}
			args = append(args, fmt.Sprintf("%s=%d-%d", r.ID, first, last+1))
		}
	}
	return args
}

type inScript struct {
	second float64
	what   string
}

// inNumPy runs the script, and returns what it found and how long that took it.
func inNumPy(tb testing.TB, python string, args ...string) (found []inScript, took time.Duration) {
	tb.Helper()
	cmd := exec.Command(python, append([]string{"testdata/numpy/rule.py"}, args...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		tb.Fatal(err)
	}
	for i, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		number, what, _ := strings.Cut(line, " ")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil {
			tb.Fatal(err)
		}
		if i == 0 {
			took = time.Duration(v * float64(time.Second))
			continue
		}
		found = append(found, inScript{v, what})
	}
	return found, took
}

const numpyHours = 2

// writeMatForNumPy writes some hours of somebody who is turned now and then: a capture,
// and its readings without what frames have around them.
func writeMatForNumPy(tb testing.TB, dir string, hours int) (recording, bare string) {
	tb.Helper()
	lies := []emulate.Lie{{Posture: emulate.Supine, For: 50 * time.Minute}, {Posture: emulate.OnLeft, For: 25 * time.Minute}, {Posture: emulate.OnRight, For: 45 * time.Minute}}
	stream := emulate.NewSampled(1, 2048, 1, emulate.NewBed(64, 32, 1, lies, 1), emulate.Sensor{PerMMHg: 20, Top: 4095, Noise: 4, Gain: 0.05}, 1)
	recording, bare = filepath.Join(dir, "bed.cap"), filepath.Join(dir, "bed.raw")
	w, err := capture.Create(recording, capture.Header{Bridge: "hub", Format: "packed", Started: time.Unix(0, 0).UTC()})
	if err != nil {
		tb.Fatal(err)
	}
	f, err := os.Create(bare)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	out := bufio.NewWriter(f)
	var scan emulate.Scan
	var buf, packed []byte
	for k := range hours * 3600 {
		if err := stream.Next(&scan); err != nil {
			tb.Fatal(err)
		}
		one := &frame.Frame{Kind: frame.Readings, Source: 1, Seq: uint32(k), Millis: uint32(k) * 1000, Readings: scan.Values}
		if packed, err = frame.AppendPacked(packed[:0], one, frame.U12); err != nil {
			tb.Fatal(err)
		}
		buf = append(frame.AppendCOBS(buf[:0], packed), 0)
		if err := w.Record(sample.Instant(k)*sample.Instant(time.Second), buf); err != nil {
			tb.Fatal(err)
		}
		const head, tail = 18, 4 // of a packed frame
		out.Write(packed[head : len(packed)-tail])
	}
	if err := w.Close(); err != nil {
		tb.Fatal(err)
	}
	if err := out.Flush(); err != nil {
		tb.Fatal(err)
	}
	return recording, bare
}

// writeLegForNumPy writes some hours of a leg that rests, stands and walks, ten rows a
// second.
func writeLegForNumPy(tb testing.TB, dir string, hours int) (recording, bare string) {
	tb.Helper()
	leg := &emulate.Wrap{Ankle: 34, Calf: 26, Stands: 12, Steps: 14, Loses: 0.1, Moves: []emulate.Move{
		{Do: emulate.Resting, For: 25 * time.Second}, {Do: emulate.Standing, For: 50 * time.Second}, {Do: emulate.Walking, For: 40 * time.Second},
	}}
	stream := emulate.NewSampled(0, 4, 10, leg, emulate.Sensor{PerMMHg: 100, Top: 65534, Noise: 20, Gain: 0.01}, 1)
	recording = filepath.Join(dir, "leg.csv")
	f, err := os.Create(recording)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	out := bufio.NewWriter(f)
	var scan emulate.Scan
	for range hours * 36000 {
		if err := stream.Next(&scan); err != nil {
			tb.Fatal(err)
		}
		fmt.Fprintf(out, "%.1f", scan.At.Seconds())
		for _, v := range scan.Values {
			fmt.Fprintf(out, ",%.2f", v/100)
		}
		fmt.Fprintln(out)
	}
	if err := out.Flush(); err != nil {
		tb.Fatal(err)
	}
	return recording, recording
}
