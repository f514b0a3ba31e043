package frame

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// Two sentences of NMEA 0183 with their checksums, whose rule is ours.
func TestXORPublishedSentences(t *testing.T) {
	for _, c := range []struct {
		between string
		want    byte
	}{
		{"GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", 0x47},
		{"GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1", 0x39},
	} {
		if got := xor([]byte(c.between)); got != c.want {
			t.Errorf("%s: got %02X, want %02X", c.between, got, c.want)
		}
	}
}

// sum closes a line with its right checksum.
func sum(body string) string { return fmt.Sprintf("%s*%02X\n", body, xor([]byte(body))) }

func TestLineReads(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		in   string
		want []float64
	}{
		{sum("w1,1,2,3,0"), []float64{0}},
		{sum("w1,1,2,3,65534,7"), []float64{65534, 7}},
		{sum("w1,1,2,3,"), []float64{nan}},
		{sum("w1,1,2,3,,"), []float64{nan, nan}},
		{sum("w1,1,2,3,,5,"), []float64{nan, 5, nan}},
		{sum("w1,001,02,0003,0000000000000000000000000000000005"), []float64{5}},
		{strings.TrimSuffix(sum("w1,1,2,3,4"), "\n") + "\r\n", []float64{4}},
		{strings.TrimSuffix(sum("w1,1,2,3,4"), "\n"), []float64{4}}, // at the end of the input
		{strings.TrimSuffix(sum("w1,1,2,3,4"), "\n") + "\r", []float64{4}},
	} {
		want := Frame{Kind: Readings, Source: 1, Seq: 2, Millis: 3, Wall: sample.Never, Readings: c.want}
		if d := diff(want, decode(NewLine(), []byte(c.in)).only(t)); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.in, d)
		}
	}
}

func TestLineRefusals(t *testing.T) {
	many := "w1,0,0,0" + strings.Repeat(",1", maxLineReadings)
	for _, c := range []struct {
		name, in string
		want     Reason
		column   int
	}{
		{"empty", "\n", BadChecksum, 1},
		{"no star", "w1,0,7,1000,1\n", BadChecksum, 14},
		{"star without digits", "w1,0,7,1000,1*\n", BadChecksum, 15},
		{"one digit", "w1,0,7,1000,1*6\n", BadChecksum, 16},
		{"lower-case digits", "w1,3,506456969,3268308804,516*7d\n", BadChecksum, 31},
		{"wrong sum", "w1,0,7,1000,1,9,3,4*68\n", BadChecksum, 21},
		{"something behind", "w1,3,506456969,3268308804,516*7D \n", BadChecksum, 34},
		{"w2", sum("w2,0,0,0,1"), BadVersion, 1},
		{"no version", sum("0,0,0,1"), BadVersion, 1},
		{"w1 without comma", sum("w1"), BadFields, 3},
		{"no time", sum("w1,0,7"), BadFields, 7},
		{"no readings", sum("w1,0,7,1000"), BadFields, 12},
		{"513 readings", sum(many + ",1"), BadFields, len(many) + 1},
		{"empty source", sum("w1,,0,0,1"), BadNumber, 4},
		{"empty time", sum("w1,0,0,,1"), BadNumber, 8},
		{"word", sum("w1,0,7,abc,1"), BadNumber, 8},
		{"decimal reading", sum("w1,0,0,0,1.5"), BadNumber, 10},
		{"signed reading", sum("w1,0,0,0,5,+1"), BadNumber, 12},
		{"negative reading", sum("w1,0,0,0,-1"), BadNumber, 10},
		{"blank before", sum("w1,0,0,0, 1"), BadNumber, 10},
		{"another star", sum("w1,0,0,0,1*00"), BadNumber, 10},
		{"long and a word", sum("w1,0,0,0,99999999999999999999999999x"), BadNumber, 10},
		{"source 65536", sum("w1,65536,0,0,1"), BadRange, 4},
		{"seq 2^32", sum("w1,0,4294967296,0,1"), BadRange, 6},
		{"ms 2^64", sum("w1,0,0,18446744073709551616,1"), BadRange, 8},
		{"reading 65535", sum("w1,0,0,0,65535"), BadRange, 10},
		{"too long", strings.Repeat("1", maxLine+1) + "\n", BadLength, 0},
		{"far too long", strings.Repeat("1", 100_000) + "\n", BadLength, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := decode(NewLine(), []byte(c.in))
			r.wantBad(t, c.want)
			if b := r.bads[0]; b.Line != 1 || b.Column != c.column {
				t.Errorf("at %d:%d, want 1:%d", b.Line, b.Column, c.column)
			}
		})
	}
}

func TestLineOfExactlyTheLimit(t *testing.T) {
	body := "w1,0,0,0," + strings.Repeat("0", maxLine-len("w1,0,0,0,7*HH")) + "7"
	for _, end := range []string{"\n", "\r\n"} {
		line := strings.TrimSuffix(sum(body), "\n") + end
		if got := len(strings.TrimRight(line, "\r\n")); got != maxLine {
			t.Fatalf("the test's line has %d bytes", got)
		}
		if f := decode(NewLine(), []byte(line)).only(t); f.Readings[0] != 7 {
			t.Errorf("read %v", f.Readings)
		}
	}
	decode(NewLine(), []byte(sum(body+"7"))).wantBad(t, BadLength)
}

func TestLineInStepAfterDamage(t *testing.T) {
	good := sum("w1,1,2,3,4")
	for _, c := range []struct{ name, in, want string }{
		{"begun in mid-line", good[5:] + good, "checksum frame"},
		{"too long, counted once", strings.Repeat("x", 50_000) + "\n" + good, "length frame"},
		{"lost ending costs both", strings.TrimSuffix(good, "\n") + good + good, "checksum frame"},
		{"a break inside", good[:6] + "\n" + good[6:] + good, "checksum checksum frame"},
		{"too long without end", good + strings.Repeat("x", 50_000), "frame length"},
	} {
		if got := strings.Join(decode(NewLine(), []byte(c.in)).order, " "); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

func TestLineNumbersInRefusals(t *testing.T) {
	good := sum("w1,1,2,3,4")
	d, r := NewLine(), &record{}
	d.Feed([]byte(good+"bad\n"+strings.Repeat("x", 9000)+"\n"+good+"bad\n"), r)
	d.Reset()
	d.Feed([]byte("bad\n"), r)
	var lines []int
	for _, b := range r.bads {
		lines = append(lines, b.Line)
	}
	if want := []int{2, 3, 5, 1}; !slices.Equal(lines, want) {
		t.Errorf("refused lines %v, want %v", lines, want)
	}
}

func TestLineMessage(t *testing.T) {
	good := sum("w1,1,2,3,4")
	d, r := NewLine(), &record{}
	d.Message([]byte(good+good), r)
	d.Message([]byte(strings.TrimSuffix(good, "\n")), r)
	if len(r.frames) != 3 || len(r.bads) != 0 {
		t.Errorf("got %v, want three frames", r.order)
	}
}

func TestLineUnfit(t *testing.T) {
	for name, f := range map[string]Frame{
		"status":      {Kind: Status},
		"no readings": {Kind: Readings},
		"513":         {Kind: Readings, Readings: make([]float64, 513)},
		"a part":      {Kind: Readings, Readings: []float64{1}, First: 4},
		"more":        {Kind: Readings, Readings: []float64{1}, More: true},
		"stored":      {Kind: Readings, Readings: []float64{1}, Stored: true},
		"65535":       {Kind: Readings, Readings: []float64{65535}},
		"half":        {Kind: Readings, Readings: []float64{0.5}},
	} {
		if got, err := AppendLine([]byte("before"), &f); err == nil || string(got) != "before" {
			t.Errorf("%s: got %q, %v, want what was there and an error", name, got, err)
		}
	}
}

// drawHead draws all but the readings of a frame.
func drawHead(t *rapid.T) Frame {
	return Frame{
		Kind:   Readings,
		Source: rapid.Uint16().Draw(t, "source"),
		Seq:    rapid.Uint32().Draw(t, "seq"),
		Millis: rapid.Uint32().Draw(t, "ms"),
		Wall:   sample.Never,
	}
}

func drawLine(t *rapid.T) Frame {
	f := drawHead(t)
	for range rapid.SampledFrom([]int{1, 2, 4, 16, 200, 512}).Draw(t, "readings") {
		v := float64(rapid.IntRange(-1, maxLineReading).Draw(t, "reading"))
		if v < 0 {
			v = sample.Unknown
		}
		f.Readings = append(f.Readings, v)
	}
	return f
}

func TestLineRoundTripCutsAndDamage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []Frame
		var units [][]byte
		for range rapid.IntRange(1, 5).Draw(t, "frames") {
			f := drawLine(t)
			b, err := AppendLine(nil, &f)
			if err != nil {
				t.Fatal(err)
			}
			want, units = append(want, f), append(units, b)
		}
		if d := diff(&record{frames: want}, &record{frames: decode(NewLine(), slices.Concat(units...)).frames}); d != "" {
			t.Fatalf("round trip (-want +got):\n%s", d)
		}
		wire, intact := damage(t, units)
		checkCuts(t, func() Decoder { return NewLine() }, wire)
		var through []Frame
		for i, ok := range intact {
			if ok {
				through = append(through, want[i])
			}
		}
		wantInOrder(t, through, decode(NewLine(), wire).frames)
	})
}
