package main

import (
	"bytes"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/config"
	"weald/ingest"
	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/health"
	"weald/ingest/sample"
)

const mixedConfig = `
bridges:
  - id: hub
    link: {file: {path: bed.cap}}
    format: packed
    sources:
      - {number: 7, id: mat, channels: 2048, rate: 1, calibration: {slope: 0.05, offset: 0, u: 2}, battery_empty_mv: 3300}
  - id: trolley
    link: {serial: {port: /dev/ttyACM0, baud: 115200}}
    format: line
    sources:
      - {number: 0, id: leg, channels: 4, rate: 10, unit: mmHg}
      - {number: 1, id: foot, channels: 2, rate: 10, calibration: {slope: -0.2, offset: 400}}
places:
  - id: bed-1
    kind: bed
    mat: {source: hub/mat, rows: 64, columns: 32, pitch_mm: [25, 25], head: first_row}
  - id: bench-1
    kind: wrap
    sites:
      - {id: ankle, channels: [trolley/leg/0, trolley/leg/1, trolley/leg/2, trolley/foot/0]}
      - {id: calf, channels: [trolley/leg/3]}
`

func mixed(t testing.TB) *config.Config {
	t.Helper()
	return parsedAs(t, "ward.yaml", mixedConfig)
}

func TestSourcesAreLaidOutByThePlan(t *testing.T) {
	c := mixed(t)
	mat := bridgeOf(c, &c.Bridges[0], nil).Sources[0]
	if mat.Rows != 64 || mat.Columns != 32 || mat.BatteryEmptyMV != 3300 || len(mat.Together) != 0 || len(mat.Groups) != len(c.Plan().Places[0].Mat.Regions) {
		t.Errorf("the mat: %d x %d, empty at %d mV, %d groups, %v", mat.Rows, mat.Columns, mat.BatteryEmptyMV, len(mat.Groups), mat.Together)
	}
	legs := bridgeOf(c, &c.Bridges[1], nil).Sources
	leg, foot := legs[0], legs[1]
	if leg.Rows != 0 || len(leg.Together) != 1 || !slices.Equal(leg.Together[0], []int{0, 1, 2}) || len(leg.Groups) != 2 {
		t.Errorf("the leg: together %v, groups %v", leg.Together, leg.Groups)
	}
	if len(foot.Together) != 0 || len(foot.Groups) != 1 || !slices.Equal(foot.Groups[0], []int{0}) {
		t.Errorf("the foot: together %v, groups %v", foot.Together, foot.Groups)
	}
}

func TestASiteWithoutHalfOfItsChannelsIsATrouble(t *testing.T) {
	plan := mixed(t).Plan()
	all := membersOf(plan)
	for _, c := range []struct {
		mat       []int // of each region
		leg, foot []int
		want      [3]string
	}{
		{nil, []int{1, 0}, []int{0}, [3]string{}},
		{nil, []int{1, 0}, []int{1}, [3]string{"",
			"2 of the 4 channels of site ankle at bench-1 do not answer (2 of 4 channels are dead)",
			"2 of the 4 channels of site ankle at bench-1 do not answer (2 of 4 channels are dead)"}},
		{nil, []int{2, 1}, []int{0}, [3]string{"",
			"2 of the 4 channels of site ankle at bench-1 do not answer; the only channel of site calf at bench-1 does not answer (2 of 4 channels are dead)", ""}},
		{[]int{3}, nil, nil, [3]string{}}, // three cells of a mat
	} {
		statuses := []ingest.Status{
			{Sources: []ingest.SourceStatus{{Index: 0, Condition: ingest.Condition{Mute: c.mat}}}},
			{Sources: []ingest.SourceStatus{{Index: 1, Condition: ingest.Condition{Mute: c.leg}}, {Index: 2, Condition: ingest.Condition{Mute: c.foot}}}},
		}
		for i := range statuses {
			for k := range statuses[i].Sources {
				statuses[i].Sources[k].Condition.Channels = health.Report{Channels: 4, Dead: 2}
			}
		}
		all.complain(statuses)
		got := [3]string{statuses[0].Sources[0].Trouble, statuses[1].Sources[0].Trouble, statuses[1].Sources[1].Trouble}
		if got != c.want {
			t.Errorf("mat %v, leg %v, foot %v:\n%q, want\n%q", c.mat, c.leg, c.foot, got, c.want)
		}
	}

	head := all.all[0]
	mute := []ingest.Status{{Sources: []ingest.SourceStatus{{Trouble: "slow", Condition: ingest.Condition{Mute: []int{head.of / 2}, Channels: health.Report{Channels: 2048, Mat: true, Silent: head.of / 2}}}}}}
	all.complain(mute)
	if got := mute[0].Sources[0].Trouble; !strings.HasPrefix(got, "slow; ") || !strings.Contains(got, "cells of region head at bed-1 do not answer") {
		t.Errorf("a region without half of its cells: %q", got)
	}
}

func TestEveryChannelIsCountedInOneState(t *testing.T) {
	r := health.Report{Channels: 100, Silent: 1, Dead: 2, Stuck: 3, Open: 4, Saturated: 5, Noisy: 6}
	sum := 0
	for _, n := range states(&r) {
		sum += n
	}
	if got := states(&r); sum != 100 || got["sound"] != 79 || got["saturated"] != 5 || len(got) != 7 || faults(&r) != 16 {
		t.Errorf("%v, %d faults", got, faults(&r))
	}
}

// restless writes half an hour of a mat on which somebody turns every 100 s and
// five cells never answer.
func restless(t *testing.T, file string) {
	t.Helper()
	w, err := capture.Create(file, capture.Header{Bridge: "hub", Format: "packed", Started: time.Unix(0, 0).UTC()})
	if err != nil {
		t.Fatal(err)
	}
	scans := bodies(64)
	raw := make([]float64, 2048)
	for k := range 1800 {
		for i, v := range scans[k%64] {
			raw[i] = math.Floor(v * (1 + float64(k/100%4)/8))
		}
		for _, i := range deadCells {
			raw[i] = 0
		}
		b, err := frame.AppendWire(nil, &frame.Frame{Kind: frame.Readings, Source: 7, Seq: uint32(k), Millis: uint32(k) * 1000, Readings: raw}, frame.U12)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Record(sample.Instant(k)*sample.Instant(time.Second), b); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

// deadCells lie where somebody does.
var deadCells = []int{10*32 + 15, 12*32 + 17, 31*32 + 16, 33*32 + 14, 54*32 + 16}

func TestRehearsalSaysWhichChannelsDoNotAnswer(t *testing.T) {
	file := filepath.Join(t.TempDir(), "night.cap")
	restless(t, file)
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), []string{"rehearse", "-c", write(t, "ward.yaml", mixedConfig), "--input", "hub=" + file}, &stdout, &stderr); code != 0 {
		t.Fatalf("%d: %s", code, stderr.String())
	}
	for _, want := range []string{
		"source hub/mat at its end: 5 of 2,048 cells are dead; 5 left out of the signals.\n",
		" readings of channels that do not answer were left out of the signals\n",
	} {
		if !strings.Contains(stderr.String(), want) {
			t.Errorf("it says %q, which lacks %q", stderr.String(), want)
		}
	}
}
