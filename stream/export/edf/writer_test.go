package edf

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

// small returns the header of a file with one signal of two samples a second.
func small(kind Kind, records int) Header {
	start := time.Date(2031, 3, 2, 8, 5, 9, 0, time.UTC)
	return Header{
		Patient: PatientField("K-07"), Recording: RecordingField(start, "", "", "weald"), Start: start,
		Kind: kind, Records: records, Duration: time.Second,
		Signals: []Signal{
			{Label: "ankle", Dimension: "mmHg", Scale: Scale{-15, 50.535, -32768, 32767}, Samples: 2},
			Annotations(40),
		},
	}
}

// written writes records with the given onsets.
func written(t *testing.T, h Header, onsets ...time.Duration) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := NewWriter(&b, h)
	if err != nil {
		t.Fatal(err)
	}
	for i, at := range onsets {
		if err := w.Record(at, [][]int16{{int16(i), UnknownDigital}}, AppendTAL(nil, at, 0, "moved")); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWrittenIsReadStrictly(t *testing.T) {
	onsets := []time.Duration{250 * time.Millisecond, 1250 * time.Millisecond, 7 * time.Second}
	r, err := NewReader(bytes.NewReader(written(t, small(Discontinuous, 3), onsets...)), Strict)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for rec, err := range r.Records() {
		if err != nil {
			t.Fatal(err)
		}
		if rec.Onset != onsets[n] || rec.Samples[0][0] != int32(n) || rec.Samples[0][1] != UnknownDigital || rec.Samples[1] != nil {
			t.Errorf("record %d at %v: %v", n, rec.Onset, rec.Samples)
		}
		if len(rec.Annotations) != 1 || rec.Annotations[0] != (Annotation{onsets[n], 0, "moved"}) {
			t.Errorf("record %d: %v", n, rec.Annotations)
		}
		n++
	}
	if n != 3 {
		t.Errorf("%d records", n)
	}
}

func TestWriterRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(h *Header)
		want  string
	}{
		"no annotations":    {func(h *Header) { h.Signals = h.Signals[:1] }, "the last one is for annotations"},
		"plain":             {func(h *Header) { h.Kind = Plain }, "cannot be written"},
		"unknown count":     {func(h *Header) { h.Records = -1 }, "cannot be written"},
		"no samples":        {func(h *Header) { h.Signals[0].Samples = 0 }, "0 samples per record"},
		"large record":      {func(h *Header) { h.Signals[0].Samples = 30701 }, "61442 bytes: the most is 61440"},
		"label":             {func(h *Header) { h.Signals[0].Label = "a label of seventeen" }, "the most is 16"},
		"accent":            {func(h *Header) { h.Patient = "Zoë X X X" }, "not printable ASCII"},
		"line feed":         {func(h *Header) { h.Signals[0].Prefilter = "a\nb" }, "not printable ASCII"},
		"long number":       {func(h *Header) { h.Signals[0].Scale.PhysicalMax = 50.1234567 }, "the most is 8"},
		"empty range":       {func(h *Header) { h.Signals[0].Scale.PhysicalMax = -15 }, "physical range is empty"},
		"digital range":     {func(h *Header) { h.Signals[0].Scale.DigitalMax = 32768 }, "not within"},
		"descending":        {func(h *Header) { h.Signals[0].Scale.DigitalMin = 32767 }, "not ascending"},
		"nameless":          {func(h *Header) { h.Signals[0].Label = "" }, "no label"},
		"too many records":  {func(h *Header) { h.Records = 100000000 }, "the most is 8"},
		"long duration":     {func(h *Header) { h.Duration = 1234567891 }, "the most is 8"},
		"two of them":       {func(h *Header) { h.Signals[0] = Annotations(4) }, "the last one is for annotations"},
		"patient too long":  {func(h *Header) { h.Patient = strings.Repeat("x", 81) }, "the most is 80"},
		"no such kind":      {func(h *Header) { h.Kind = "EDF+X" }, `kind of file is "EDF+X"`},
		"not finite":        {func(h *Header) { h.Signals[0].Scale.PhysicalMax = math.Inf(1) }, "not finite"},
		"too many signals":  {func(h *Header) { h.Signals = append(make([]Signal, 9999), h.Signals[1]) }, "a file has 1 to 9999"},
		"reserved too long": {func(h *Header) { h.Signals[0].Reserved = strings.Repeat("x", 33) }, "the most is 32"},
	} {
		h := small(Continuous, 1)
		c.spoil(&h)
		var b bytes.Buffer
		if _, err := NewWriter(&b, h); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		if b.Len() > 0 {
			t.Errorf("%s: %d bytes were written all the same", name, b.Len())
		}
	}
}

func TestRecordsHaveToFollow(t *testing.T) {
	type record struct {
		at      time.Duration
		samples [][]int16
		lists   []byte
	}
	two := [][]int16{{1, 2}}
	for name, c := range map[string]struct {
		kind Kind
		bad  record
		want string
	}{
		"gap in a continuous file": {Continuous, record{2 * time.Second, two, nil}, "the file is continuous"},
		"overlap":                  {Discontinuous, record{time.Second / 2, two, nil}, "before the former ended"},
		"signals":                  {Continuous, record{time.Second, nil, nil}, "samples of 0 signals"},
		"samples":                  {Continuous, record{time.Second, [][]int16{{1}}, nil}, `1 samples of "ankle"`},
		"annotations":              {Continuous, record{time.Second, two, make([]byte, 36)}, "there is room for 40"},
	} {
		w, err := NewWriter(&bytes.Buffer{}, small(c.kind, 2))
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Record(time.Second, two, nil); err == nil || !strings.Contains(err.Error(), "within a second") {
			t.Errorf("late first record: %v", err)
		}
		if err := w.Record(0, two, nil); err != nil {
			t.Fatal(err)
		}
		if err := w.Record(c.bad.at, c.bad.samples, c.bad.lists); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		if err := w.Close(); err == nil {
			t.Errorf("%s: closed with one record of two", name)
		}
		if err := w.Record(time.Second, two, nil); err != nil {
			t.Errorf("%s: the right record is refused after a wrong one: %v", name, err)
		}
		if err := w.Record(2*time.Second, two, nil); err == nil {
			t.Errorf("%s: a third record of two", name)
		}
	}
}

// Each case spoils one thing of a good file.
func TestStrictReaderRefuses(t *testing.T) {
	good := written(t, small(Continuous, 2), 0, time.Second)
	const records = 256 * 3
	for name, c := range map[string]struct {
		at   int
		with string
		want error
	}{
		"version":              {0, "1", ErrFormat},
		"control character":    {100, "\t", ErrStrict},
		"not at the left":      {8, " K-07", ErrStrict},
		"date":                 {168, "02/03/31", ErrStrict},
		"another date":         {168, "03.03.31", ErrStrict},
		"time":                 {176, "24.00.00", ErrStrict},
		"header size":          {184, "512", ErrStrict},
		"size is not a number": {184, "7x8", ErrFormat},
		"reserved":             {192, "     ", ErrStrict},
		"no records":           {236, "-1", ErrStrict},
		"too many records":     {236, "3", ErrTruncated},
		"too few records":      {236, "1", ErrStrict},
		"leading zero":         {236, "02", ErrStrict},
		"decimal comma":        {244, "1,5", ErrStrict},
		"no signals":           {252, "0", ErrFormat},
		"exponent":             {256 + 2*104, "-1.5e+1", ErrStrict},
		"digital range":        {256 + 2*120, "40000", ErrStrict},
		"samples":              {256 + 2*216, "-2", ErrFormat},
		"many samples":         {256 + 2*216, "99999999", ErrFormat},
		"onset":                {records + 4, "x0", ErrStrict},
		"no sign":              {records + 4, "00", ErrStrict},
		"onset of the second":  {records + 44 + 4, "+2", ErrStrict},
		"text without an end":  {records + 4 + 2, "aa", ErrStrict},
		"after the lists":      {records + 43, "a", ErrStrict},
	} {
		b := bytes.Clone(good)
		copy(b[c.at:], c.with)
		if err := readAll(bytes.NewReader(b), Strict); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
		if err := readAll(bytes.NewReader(b), Lenient); c.want == ErrStrict && err != nil {
			t.Errorf("%s: a lenient reader says %v", name, err)
		}
	}
	if err := readAll(bytes.NewReader(good), Strict); err != nil {
		t.Errorf("unspoilt: %v", err)
	}
	for cut := range good {
		err := readAll(bytes.NewReader(good[:cut]), Lenient)
		if want := ErrTruncated; cut < 256 && !errors.Is(err, ErrFormat) || cut >= 256 && !errors.Is(err, want) {
			t.Fatalf("cut at %d: %v", cut, err)
		}
	}
}

func readAll(in io.Reader, mode Mode) error {
	r, err := NewReader(in, mode)
	if err != nil {
		return err
	}
	for _, err := range r.Records() {
		if err != nil {
			return err
		}
	}
	return nil
}

// A file that is still being written has -1 for the number of records.
func TestUnfinishedFileIsReadToItsEnd(t *testing.T) {
	b := written(t, small(Continuous, 2), 0, time.Second)
	copy(b[236:], "-1")
	r, err := NewReader(bytes.NewReader(b), Lenient)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, err := range r.Records() {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if n != 2 {
		t.Errorf("%d records", n)
	}
}

// A header cannot ask for more memory than files of the world have need of.
func TestGiantHeaders(t *testing.T) {
	good := written(t, small(Continuous, 1), 0)
	signals, err := strconv.Atoi(strings.TrimSpace(string(good[252:256])))
	if err != nil {
		t.Fatal(err)
	}
	samples := 256 + signals*(16+80+5*8+80) // where the first signal says how many it has in a record
	for _, c := range []struct {
		at         int
		text, says string
	}{{samples, "99999999", "samples in a record"}, {samples, "-1      ", "samples in a record"}, {samples, "9999999 ", "a data record has over"}, {252, "9999", "too early"}, {252, "-1  ", "signals"}} {
		bad := append(bytes.Clone(good[:c.at]), c.text...)
		bad = append(bad, good[c.at+len(c.text):]...)
		if _, err := NewReader(bytes.NewReader(bad), Lenient); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q at %d: %v, want %q", c.text, c.at, err, c.says)
		}
	}
}
