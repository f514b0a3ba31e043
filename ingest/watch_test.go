package ingest

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A watch hears of all that a recording holds, in order, and changes nothing.
func TestAWatchHearsOfFramesAndRefusals(t *testing.T) {
	var file []byte
	for _, f := range []frame.Frame{
		{Source: 0, Seq: 1, Millis: 100, Readings: []float64{1, 2}},
		{Source: 7, Seq: 1, Millis: 100, Readings: []float64{1, 2}},
		{Source: 0, Seq: 2, Millis: 200, Readings: []float64{1, 2, 3}},
		{Source: 0, Seq: 2, Millis: 300, Readings: []float64{1, 2}},
	} {
		f.Kind = frame.Readings
		var err error
		if file, err = frame.AppendLine(file, &f); err != nil {
			t.Fatal(err)
		}
		if f.Source == 7 {
			file = append(file, "w1,noise*00\n"...)
		}
	}
	var got []string
	p, err := NewPlayback(twoLegs(nil), strings.NewReader(string(file)), PlayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	p.Watch(func(f Finding) {
		words := "refused bytes"
		if f.Frame != nil {
			words = fmt.Sprint("frame ", f.Frame.Seq, " of ", f.Frame.Source)
		}
		if f.Bad != nil {
			words += fmt.Sprint(" for ", f.Bad.Reason, " in line ", f.Bad.Line)
		}
		got = append(got, fmt.Sprint(words, " at ", f.At))
	})
	scans := 0
	for range p.Scans(t.Context()) {
		scans++
	}
	want := []string{
		"frame 1 of 0 at " + sample.Instant(0).String(),
		"frame 1 of 7 for source in line 0 at " + sample.Instant(0).String(),
		"refused bytes for checksum in line 3 at " + sample.Instant(0).String(),
		"frame 2 of 0 for channel in line 0 at " + sample.Instant(1e8).String(),
		"frame 2 of 0 at " + sample.Instant(2e8).String(),
	}
	if scans != 2 || !slices.Equal(got, want) {
		t.Errorf("%d scans and\n%s\nwant\n%s", scans, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
