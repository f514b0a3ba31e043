package edf

import (
	"bytes"
	"reflect"
	"testing"
	"time"
)

// Any bytes at all: reading returns. And what a strict reader takes for a header
// means the same when it has been written again.
func FuzzReader(f *testing.F) {
	start := time.Date(1999, 12, 31, 23, 59, 59, 0, time.UTC)
	h := Header{
		Patient: PatientField("K-07"), Recording: RecordingField(start, "", "", "weald"), Start: start, Kind: Discontinuous,
		Records: 1, Duration: time.Second,
		Signals: []Signal{{Label: "a", Scale: Scale{-1, 1, -10, 10}, Samples: 1}, Annotations(8)},
	}
	var b bytes.Buffer
	w, err := NewWriter(&b, h)
	if err != nil {
		f.Fatal(err)
	}
	if err := w.Record(0, [][]int16{{1}}, nil); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(append([]byte(bdfMagic), b.Bytes()[8:]...))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, mode := range []Mode{Lenient, Strict} {
			r, err := NewReader(bytes.NewReader(b), mode)
			if err != nil {
				continue
			}
			if mode == Strict {
				again, err := r.Header().Append(nil)
				if err != nil {
					t.Fatalf("%+v was read and cannot be written: %v", r.Header(), err)
				}
				back, err := NewReader(bytes.NewReader(again), Strict)
				if err != nil || !reflect.DeepEqual(back.Header(), r.Header()) {
					t.Fatalf("%+v was read, %q was written, and read again: %v", r.Header(), again, err)
				}
			}
			for range r.Records() {
			}
		}
	})
}

// What is read from any bytes as lists is read again from what it is written as.
func FuzzTAL(f *testing.F) {
	f.Add([]byte("+180\x14Lights off\x14Close door\x14\x00"))
	f.Add([]byte("-0.5\x1525.5\x14Apnea\x14\x00+1\x14\x14\x00\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		var all []Annotation
		if parseTALs(b, func(_ int, a Annotation) { all = append(all, a) }) != nil {
			return
		}
		for _, a := range all {
			a.Text = CleanText(a.Text)
			var again []Annotation
			err := parseTALs(AppendTAL(nil, a.Onset, a.Duration, a.Text), func(_ int, a Annotation) { again = append(again, a) })
			if err != nil || len(again) != 1 || again[0] != a {
				t.Fatalf("%q is read again as %q, %v", a, again, err)
			}
		}
	})
}
