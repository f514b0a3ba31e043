package main

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/emulate"
	"weald/ingest/frame"
	"weald/ingest/recorded"
)

const (
	bedRows, bedColumns = 64, 32
	bedSlope            = 0.05 // mmHg a count; invented, like all calibrations of these recordings
	bedLimit            = 30.0 // mmHg
	bedDelay            = 3 * time.Second
)

// A bedTape is a recording of a bed as a stream: one scan a row.
type bedTape struct {
	scans [][]float64
	every time.Duration
	next  int
}

func (b *bedTape) Next(s *emulate.Scan) error {
	if b.next == len(b.scans) {
		return io.EOF
	}
	s.At, s.Values = time.Duration(b.next)*b.every, b.scans[b.next]
	b.next++
	return nil
}

const bedConfig = `
web: {listen: "127.0.0.1:0"}
bridges:
  - id: hub
    link: {serial: {port: %s}}
    format: packed
    sources:
      - {number: 7, id: mat, channels: 2048, rate: 10, calibration: {slope: 0.05, offset: 0, u: 2}}
places:
  - id: bed-1
    kind: bed
    mat: {source: hub/mat, rows: 64, columns: 32, pitch_mm: [25, 25], head: first_row}
rules:
  - {id: loaded, at: {place: bed-1}, limit: {watch: mat.pressure, above: 30}, on_delay: 3s, priority: medium}
  - {id: never, at: {place: bed-1}, limit: {watch: mat.peak, above: 185}}
`

// A real recording of a bed goes as packed 12-bit frames over a pseudo-terminal,
// ten times as fast as it was made, through the daemon, to the alert, the map
// and the metrics. Scan 1 is damaged at its source: it must raise nothing and
// leave no peak behind.
func TestRecordedBedFromPortToAlertMapAndMetric(t *testing.T) {
	var scans [][]float64
	for scan := range recorded.Counts(t, recorded.Path(t, "bed-postures", "S1", "11.txt")) {
		scans = append(scans, slices.Clone(scan))
	}
	port, err := emulate.NewPort(filepath.Join(t.TempDir(), "hub"))
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	address := start(t, "run", "-c", write(t, "bed.yaml", fmt.Sprintf(bedConfig, port.Path())))
	player := &emulate.Player{
		Stream:   numbered{&bedTape{scans: scans, every: 100 * time.Millisecond}},
		Encoding: emulate.Encoding{Coding: frame.U12, Split: 512},
		Speed:    1, Starts: 4294967000, // the counter wraps on the way
	}
	if err := player.Play(t.Context(), port); err != nil {
		t.Fatal(err)
	}

	want := firstRaises(scans)
	if len(want) < 2 {
		t.Fatalf("regions %v: too few to prove anything", want)
	}
	t.Logf("one alert in each of %v", want)
	type alerts struct {
		Alerts []struct {
			Place, Rule, Subject, Priority, Text string
			RaisedAt                             time.Time `json:"raised_at"`
		}
	}
	eventually(t, longEnough, func() error {
		got, err := get[alerts](address, "/api/v1/alerts")
		if err != nil {
			return err
		}
		if len(got.Alerts) != len(want) {
			return fmt.Errorf("%d alerts, want one for each of the regions %v: %+v", len(got.Alerts), want, got)
		}
		first := got.Alerts[0].RaisedAt
		for _, a := range got.Alerts {
			if a.RaisedAt.Before(first) {
				first = a.RaisedAt
			}
		}
		earliest := time.Hour
		for _, d := range want {
			earliest = min(earliest, d)
		}
		for _, a := range got.Alerts {
			d, ok := want[a.Subject]
			if off := a.RaisedAt.Sub(first) - (d - earliest); !ok || a.Rule != "loaded" || off.Abs() > 60*time.Millisecond {
				return fmt.Errorf("%+v is off by %v", a, off)
			}
		}
		return nil
	})

	type cells struct {
		Rows, Columns int
		Cells         []*float64
	}
	eventually(t, longEnough, func() error {
		got, err := get[cells](address, "/api/v1/places/bed-1/map")
		if err != nil {
			return err
		}
		last := scans[len(scans)-1]
		if got.Rows != bedRows || got.Columns != bedColumns || len(got.Cells) != len(last) {
			return fmt.Errorf("a map of %d by %d with %d cells", got.Rows, got.Columns, len(got.Cells))
		}
		for i, c := range got.Cells {
			if c != nil && math.Abs(*c-last[i]*bedSlope) > 0.051 {
				return fmt.Errorf("cell %d is %v, want %v", i, *c, last[i]*bedSlope)
			}
		}
		return nil
	})

	metrics := text(t, address, "/metrics")
	for _, line := range []string{
		`weald_damaged_scans_total{source="hub/mat"} 1`,
		fmt.Sprintf(`weald_frames_total{bridge="hub"} %d`, 4*len(scans)),
		`weald_gap_scans_total{source="hub/mat"} 0`,
		`weald_alerts{place="bed-1",priority="medium",rule="loaded",state="unacknowledged"}`,
	} {
		if !strings.Contains(metrics, line) {
			t.Errorf("the metrics lack %s", line)
		}
	}
	noPeakOfDamage(t, address, scans)
}

// numbered gives a stream the source number of the configuration.
type numbered struct{ emulate.Stream }

func (n numbered) Next(s *emulate.Scan) error {
	s.Source = 7
	return n.Stream.Next(s)
}

// firstRaises computes, cell by cell and without the program, when each region
// has had a cell above the limit for the delay; scan 1 is left out, and is a
// hole like any missing reading.
func firstRaises(scans [][]float64) map[string]time.Duration {
	bands := []struct {
		id string
		to float64
	}{{"head", .12}, {"shoulders", .25}, {"back", .42}, {"pelvis", .58}, {"thighs", .75}, {"calves", .90}, {"heels", 1}}
	out := map[string]time.Duration{}
	period := 100 * time.Millisecond
	for cell := range scans[0] {
		centre := (float64(cell/bedColumns) + 0.5) / bedRows
		region := ""
		for _, b := range bands {
			if centre < b.to {
				region = b.id
				break
			}
		}
		held := time.Duration(0)
		for i, scan := range scans[:len(scans)-1] {
			switch {
			case i == 1:
			case scan[cell]*bedSlope > bedLimit:
				held += period
			default:
				held = 0
			}
			if at := time.Duration(i+1) * period; held >= bedDelay {
				if was, ok := out[region]; !ok || at < was {
					out[region] = at
				}
				break
			}
		}
	}
	return out
}

// noPeakOfDamage looks at the history: no peak may be higher than the highest
// reading of the scans that were whole.
func noPeakOfDamage(t *testing.T, address string, scans [][]float64) {
	t.Helper()
	highest := 0.0
	for i, scan := range scans {
		for _, v := range scan {
			if i != 1 {
				highest = max(highest, v*bedSlope)
			}
		}
	}
	type history struct {
		Series []struct{ Max []*float64 }
	}
	got, err := get[history](address, "/api/v1/places/bed-1/signals?name=mat.peak")
	if err != nil || len(got.Series) != 1 {
		t.Fatalf("history: %v, %+v", err, got)
	}
	seen := 0.0
	for _, v := range got.Series[0].Max {
		if v != nil {
			seen = max(seen, *v)
		}
	}
	if seen < highest*0.9 || seen > highest+0.1 {
		t.Errorf("the highest peak in the history is %.1f, want %.1f", seen, highest)
	}
}
