package edf

import (
	"bytes"
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"
)

// The bytes and the figure 28 are those of the examples in Kemp & Olivan, Clin
// Neurophysiol 2003;114:1755-1761 (and the public EDF+ specification).
func TestAnnotationListsOfTheSpecification(t *testing.T) {
	for _, c := range []struct {
		want            string
		onset, duration time.Duration
		texts           []string
	}{
		{
			"2b 31 38 30 14 4c 69 67 68 74 73 20 6f 66 66 14 43 6c 6f 73 65 20 64 6f 6f 72 14 00",
			180 * time.Second, 0,
			[]string{"Lights off", "Close door"},
		},
		{
			"2b 31 38 30 30 2e 32 15 32 35 2e 35 14 41 70 6e 65 61 14 00",
			1800*time.Second + 200*time.Millisecond, 25*time.Second + 500*time.Millisecond,
			[]string{"Apnea"},
		},
		{"2b 35 36 37 14 14 00", 567 * time.Second, 0, nil},
	} {
		want, err := hex.DecodeString(strings.ReplaceAll(c.want, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if got := AppendTAL(nil, c.onset, c.duration, c.texts...); !bytes.Equal(got, want) {
			t.Errorf("%v %q: % x, want % x", c.onset, c.texts, got, want)
		}
		var texts []string
		err = parseTALs(append(want, 0, 0), func(_ int, a Annotation) {
			if a.Onset != c.onset || a.Duration != c.duration {
				t.Errorf("read %v for %v, want %v for %v", a.Onset, a.Duration, c.onset, c.duration)
			}
			texts = append(texts, a.Text)
		})
		if got, want := strings.Join(texts, "|"), strings.Join(c.texts, "|"); err != nil || got != want {
			t.Errorf("read %q, %v, want %q", got, err, want)
		}
	}
}

// The scaling is that of Kemp et al., Electroencephalogr Clin Neurophysiol
// 1992;82:391-393; the second range is the example there, the numbers follow
// from the formula.
func TestScalingOfTheSpecification(t *testing.T) {
	mmHg := Scale{0, 200, -32768, 32767}
	example := Scale{-500, 500, -2048, 2047}
	for _, c := range []struct {
		got, want, within float64
	}{
		{mmHg.Physical(-32768), 0, 0},
		{mmHg.Physical(32767), 200, 0},
		{mmHg.Physical(0), 100.00152590, 5e-9},
		{mmHg.Step(), 0.0030518, 5e-8},
		{example.Physical(0), 0.12210012, 5e-9},
		{example.Step(), 0.24420024, 5e-9},
	} {
		if !(math.Abs(c.got-c.want) <= c.within) {
			t.Errorf("%.9f, want %.9f", c.got, c.want)
		}
	}
}

// The offsets and widths are those of the specification: the transducer comes
// before the physical dimension.
func TestHeaderLayoutOfTheSpecification(t *testing.T) {
	h := Header{
		Patient: "K-07 X X X", Recording: "Startdate 02-MAR-2031 X X weald", Kind: Continuous, Records: 5,
		Start: time.Date(2031, 3, 2, 8, 5, 9, 0, time.UTC), Duration: time.Second,
		Signals: []Signal{
			{"ankle", "cell", "mmHg", Scale{-15, 50.535, -32768, 32767}, "none", 50, ""},
			Annotations(60),
		},
	}
	b, err := h.Append(nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(b) != 768 {
		t.Fatalf("header has %d bytes, want 256 x (2 + 1)", len(b))
	}
	fields := []struct {
		at, width int
		want      string
	}{
		{0, 8, "0"},
		{8, 80, "K-07 X X X"},
		{88, 80, "Startdate 02-MAR-2031 X X weald"},
		{168, 8, "02.03.31"},
		{176, 8, "08.05.09"},
		{184, 8, "768"},
		{192, 44, "EDF+C"},
		{236, 8, "5"},
		{244, 8, "1"},
		{252, 4, "2"},
	}
	at := 256
	for _, f := range []struct {
		width int
		each  [2]string
	}{
		{16, [2]string{"ankle", "EDF Annotations"}},
		{80, [2]string{"cell", ""}},
		{8, [2]string{"mmHg", ""}},
		{8, [2]string{"-15", "-1"}},
		{8, [2]string{"50.535", "1"}},
		{8, [2]string{"-32768", "-32768"}},
		{8, [2]string{"32767", "32767"}},
		{80, [2]string{"none", ""}},
		{8, [2]string{"50", "30"}},
		{32, [2]string{"", ""}},
	} {
		for _, want := range f.each {
			fields = append(fields, struct {
				at, width int
				want      string
			}{at, f.width, want})
			at += f.width
		}
	}
	for _, f := range fields {
		if got := string(b[f.at : f.at+f.width]); got != f.want+strings.Repeat(" ", f.width-len(f.want)) {
			t.Errorf("bytes %d to %d are %q, want %q", f.at, f.at+f.width, got, f.want)
		}
	}
}

// Years by the specification: 85 to 99 and 00 to 84; beyond that "yy", and only
// the full date says which.
func TestYears(t *testing.T) {
	for year, want := range map[int]string{
		1985: "01.06.85", 1999: "01.06.99", 2000: "01.06.00", 2068: "01.06.68", 2084: "01.06.84",
		2085: "01.06.yy", 1970: "01.06.yy",
	} {
		start := time.Date(year, 6, 1, 13, 14, 15, 0, time.UTC)
		h := Header{
			Patient: PatientField(""), Recording: RecordingField(start, "", "", "weald"), Start: start,
			Kind: Continuous, Records: 1, Duration: time.Second, Signals: []Signal{Annotations(20)},
		}
		b, err := h.Append(nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := string(b[168:176]); got != want {
			t.Errorf("%d is written %q, want %q", year, got, want)
		}
		r, err := NewReader(bytes.NewReader(b), Strict)
		if err != nil {
			t.Fatalf("%d: %v", year, err)
		}
		if !r.Header().Start.Equal(start) {
			t.Errorf("%v is read as %v", start, r.Header().Start)
		}
	}
}

func TestFieldsOfText(t *testing.T) {
	if got := PatientField("K 07"); got != "K_07 X X X" {
		t.Error(got)
	}
	if got := PatientField(" "); got != "X X X X" {
		t.Error(got)
	}
	day := time.Date(2002, 5, 9, 0, 0, 0, 0, time.UTC)
	if got := RecordingField(day, "", "Zoë", "weald 1", "place=bench 1"); got != "Startdate 09-MAY-2002 X Zo? weald_1 place=bench_1" {
		t.Error(got)
	}
}
