package edf

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"weald/ingest/recorded"
)

// foreign opens a file that another program has written.
func foreign(t *testing.T, name string) *os.File {
	t.Helper()
	f, err := os.Open(recorded.Path(t, "edf", name))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

func TestFilesOfOtherPrograms(t *testing.T) {
	for name, want := range map[string]struct {
		kind                          Kind
		start                         string
		signals, records, annotations int
		duration, onset               time.Duration
		first, last                   Annotation
		departs                       string // the only thing that a lenient reader lists
		strict                        bool   // whether a strict reader takes it
	}{
		"SC4001EC-Hypnogram.edf": {
			Continuous, "1989-04-24T16:13:00Z", 1, 1, 154, 0, 0,
			Annotation{0, 30630 * time.Second, "Sleep stage W"},
			Annotation{79500 * time.Second, 6900 * time.Second, "Sleep stage ?"}, "", true,
		},
		"mne_test.edf": {
			Continuous, "2014-04-29T22:19:44Z", 140, 6, 5, time.Second, 0,
			Annotation{0, 0, "start"}, Annotation{2500 * time.Millisecond, 2500 * time.Millisecond, "type A"},
			"outside the digital range", false,
		},
		"pyedflib_test_generator.bdf": {
			Continuous, "2000-01-01T00:00:00Z", 6, 30, 0, time.Second, 0, Annotation{}, Annotation{},
			"samples have 24 bits", false,
		},
		"pyedflib_test_generator.edf": {
			Continuous, "2011-04-04T12:57:02Z", 12, 600, 2, time.Second, 0,
			Annotation{0, 0, "Recording starts"}, Annotation{600 * time.Second, 0, "Recording ends"}, "", true,
		},
		"pyedflib_test_utf8.edf": {
			Continuous, "2020-01-24T04:05:56Z", 2, 698, 5, time.Second, 394531200,
			Annotation{1951171900, 0, "XLSpike"}, Annotation{583572265600, 0, "XLSpike"}, "", true,
		},
		"short_psg.edf": {
			Plain, "1989-04-24T16:13:00Z", 7, 10, 0, 30 * time.Second, 0, Annotation{}, Annotation{},
			"neither EDF+C nor EDF+D", false,
		},
		"test_subsecond.edf": {
			Continuous, "2020-01-24T04:05:56Z", 2, 698, 4, time.Second, 394531200,
			Annotation{2345703100, 0, "XLSpike"}, Annotation{583966796800, 0, "XLSpike"}, "", true,
		},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := NewReader(foreign(t, name), Lenient)
			if err != nil {
				t.Fatal(err)
			}
			h := r.Header()
			var all []Annotation
			records := 0
			for rec, err := range r.Records() {
				if err != nil {
					t.Fatal(err)
				}
				if records == 0 && rec.Onset != want.onset {
					t.Errorf("first record begins at %v, want %v", rec.Onset, want.onset)
				}
				all = append(all, rec.Annotations...)
				records++
			}
			if h.Kind != want.kind || h.Start.Format(time.RFC3339) != want.start || len(h.Signals) != want.signals ||
				records != want.records || h.Records != records || h.Duration != want.duration {
				t.Errorf("%q from %v, %d signals, %d records of %v", h.Kind, h.Start, len(h.Signals), records, h.Duration)
			}
			if len(all) != want.annotations {
				t.Fatalf("%d annotations, want %d", len(all), want.annotations)
			}
			if len(all) > 0 && (all[0] != want.first || all[len(all)-1] != want.last) {
				t.Errorf("annotations from %v to %v", all[0], all[len(all)-1])
			}
			for _, p := range r.Problems() {
				if want.departs == "" || !strings.Contains(p, want.departs) && !strings.Contains(p, "the most is 61440") {
					t.Errorf("unexpected: %s", p)
				}
			}
			if want.departs != "" && len(r.Problems()) == 0 {
				t.Errorf("nothing listed, want %q", want.departs)
			}
			if err := readAll(foreign(t, name), Strict); (err == nil) != want.strict || err != nil && !errors.Is(err, ErrStrict) {
				t.Errorf("strict: %v", err)
			}
		})
	}
}

// The reference was made by another reader.
func TestHeaderAgainstAnotherReader(t *testing.T) {
	var want []struct {
		Label     string  `json:"label"`
		Cell      string  `json:"transducer_type"`
		Dimension string  `json:"physical_dimension"`
		PMin      float64 `json:"physical_min"`
		PMax      float64 `json:"physical_max"`
		DMin      int     `json:"digital_min"`
		DMax      int     `json:"digital_max"`
		Prefilter string  `json:"prefiltering"`
		Samples   int     `json:"samples_per_data_record"`
		Reserved  string  `json:"reserved"`
		Rate      float64 `json:"sampling_frequency"`
	}
	if err := json.NewDecoder(foreign(t, "short_psg_header_reference.json")).Decode(&want); err != nil {
		t.Fatal(err)
	}
	r, err := NewReader(foreign(t, "short_psg.edf"), Lenient)
	if err != nil {
		t.Fatal(err)
	}
	h := r.Header()
	if len(want) != 7 || len(h.Signals) != len(want) {
		t.Fatalf("%d signals, the reference has %d", len(h.Signals), len(want))
	}
	for i, w := range want {
		got := h.Signals[i]
		if got != (Signal{w.Label, w.Cell, w.Dimension, Scale{w.PMin, w.PMax, w.DMin, w.DMax}, w.Prefilter, w.Samples, w.Reserved}) {
			t.Errorf("signal %d is %+v, the reference has %+v", i, got, w)
		}
		if rate := got.Rate(h.Duration); rate != w.Rate {
			t.Errorf("signal %d has %v samples a second, the reference %v", i, rate, w.Rate)
		}
	}
}

// The generator's signals are known: label, frequency and amplitude say what a
// sine of it is at every sample.
func TestSamplesOfAKnownSine(t *testing.T) {
	r, err := NewReader(foreign(t, "pyedflib_test_generator.edf"), Strict)
	if err != nil {
		t.Fatal(err)
	}
	h := r.Header()
	at := -1
	for i := range h.Signals {
		if h.Signals[i].Label == "sine 1 Hz" {
			at = i
		}
	}
	if at < 0 {
		t.Fatal("no sine of 1 Hz")
	}
	s := &h.Signals[at]
	for rec, err := range r.Records() {
		if err != nil {
			t.Fatal(err)
		}
		var real, imaginary float64
		for k, d := range rec.Samples[at] {
			v := s.Scale.Physical(int(d))
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(s.Samples))
			real, imaginary = real+v*cos, imaginary+v*sin
		}
		amplitude := 2 * math.Hypot(real, imaginary) / float64(s.Samples)
		if math.Abs(amplitude-100) > 0.5 {
			t.Fatalf("record %d: the sine has an amplitude of %v %s", rec.Index, amplitude, s.Dimension)
		}
	}
}
