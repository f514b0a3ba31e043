package emulate

import (
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"weald/ingest/frame"
	"weald/ingest/recorded"
)

func TestARecordingIsPlayedAtItsTimes(t *testing.T) {
	const file = "10.00,seat,1.26,NA\n10.09,back,3,4\nragged\n10.05,seat,999,-3\n11.5,seat,5,6"
	d := frame.Delimited{
		Separator: ",", Channels: []int{2, 3}, Empty: []string{"NA"},
		Time:   frame.TimeColumn{Column: 0, As: frame.InSeconds},
		Source: frame.SourceColumn{Column: 1, Is: map[string]uint16{"seat": 0, "back": 1}},
	}
	want := []Scan{
		{Source: 0, At: 0, Values: []float64{13, math.NaN()}},
		{Source: 1, At: 90 * time.Millisecond, Values: []float64{30, 40}},
		{Source: 0, At: 90 * time.Millisecond, Values: []float64{4095, 0}}, // time does not run back
		{Source: 0, At: 1500 * time.Millisecond, Values: []float64{50, 60}},
	}
	for name, in := range map[string]io.Reader{"at once": strings.NewReader(file), "byte by byte": iotest.OneByteReader(strings.NewReader(file))} {
		r, err := NewRecording(in, d, 10, 4095)
		if err != nil {
			t.Fatal(err)
		}
		var s Scan
		for i, w := range want {
			if err := r.Next(&s); err != nil {
				t.Fatalf("%s: scan %d: %v", name, i, err)
			}
			same := slices.EqualFunc(s.Values, w.Values, func(a, b float64) bool { return a == b || a != a && b != b })
			if s.Source != w.Source || s.At != w.At || !same {
				t.Errorf("%s: scan %d is %+v, want %+v", name, i, s, w)
			}
		}
		if err := r.Next(&s); err != io.EOF || r.Refused() != 1 {
			t.Errorf("%s: at the end %v, %d rows refused", name, err, r.Refused())
		}
	}
	if _, err := NewRecording(nil, frame.Delimited{}, 1, 1); err == nil {
		t.Error("a description of nothing was accepted")
	}
	broken := errors.New("disk on fire")
	r, _ := NewRecording(iotest.ErrReader(broken), d, 1, 1)
	if err := r.Next(new(Scan)); !errors.Is(err, broken) {
		t.Errorf("a reader's error came as %v", err)
	}
}

func TestABedRecordingIsSentBitForBit(t *testing.T) {
	content := recorded.Text(t, "bed-postures", "S1", "1.txt")
	var want [][]string
	for row := range strings.Lines(string(content)) {
		want = append(want, strings.Split(strings.TrimSpace(row), "\t"))
	}
	r, err := NewRecording(strings.NewReader(string(content)), MatRows1Hz(2048), 1, 4095)
	if err != nil {
		t.Fatal(err)
	}
	h := new(heard)
	d := frame.NewPacked()
	p := Player{Stream: r, Encoding: Encoding{Coding: frame.U12}}
	if err := p.Play(t.Context(), writerFunc(func(b []byte) { d.Feed(b, h) })); err != nil {
		t.Fatal(err)
	}
	if len(h.frames) != len(want) || h.bad != 0 || r.Refused() != 0 {
		t.Fatalf("%d frames of %d rows, %d bad, %d refused", len(h.frames), len(want), h.bad, r.Refused())
	}
	for i, f := range h.frames {
		if f.Millis != uint32(1000*i) || len(f.Readings) != 2048 {
			t.Fatalf("frame %d at %d ms has %d readings", i, f.Millis, len(f.Readings))
		}
		for c, v := range f.Readings {
			if got := strings.TrimSpace(want[i][c]); got != strconv.FormatFloat(v, 'f', -1, 64) {
				t.Fatalf("frame %d cell %d: %v, the file has %s", i, c, v, got)
			}
		}
	}
}

type writerFunc func([]byte)

func (w writerFunc) Write(p []byte) (int, error) { w(p); return len(p), nil }

// Who plays a recording hears of rows that cannot be read, and that there is none which can.
func TestComplaintsOfARecording(t *testing.T) {
	for rows, want := range map[string]string{
		"1\t2\n3\t4\n":    "",
		"1\t2\nx\t4\n":    "1 rows cannot be read and were left out; the last one: ",
		"1 2\n3 4\n5 6\n": "none of its 3 rows can be read; the last one: ",
		"":                "it has no rows",
	} {
		r, err := NewRecording(strings.NewReader(rows), MatRows1Hz(2), 1, 4095)
		if err != nil {
			t.Fatal(err)
		}
		var s Scan
		for err == nil {
			err = r.Next(&s)
		}
		text, any := r.Complaint()
		if !strings.HasPrefix(text, want) || (want == "") != (text == "") || any != strings.HasPrefix(rows, "1\t") {
			t.Errorf("%q: %q, %v, want %q", rows, text, any, want)
		}
	}
}
