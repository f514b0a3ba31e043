package calib

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var nan = math.NaN()

// same compares as readings are compared: NaN is the same as NaN.
func same(a, b float64) bool { return a == b || a != a && b != b }

func equal(t *testing.T, what string, got, want []float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %v, want %v", what, got, want)
	}
	for i := range got {
		if !same(got[i], want[i]) {
			t.Fatalf("%s: %v, want %v", what, got, want)
		}
	}
}

func TestConvert(t *testing.T) {
	raw := []float64{0, 10, nan, 4094, 4095, 5000}
	for _, c := range []struct {
		name      string
		unit      Unit
		lines     []Line
		rail      float64
		want      []float64
		saturated int
	}{
		{"mmHg as it is", MMHg, nil, NoRail, raw, 0},
		{"mmHg with a rail", MMHg, nil, 4095, []float64{0, 10, nan, 4094, nan, nan}, 2},
		{"counts without a calibration", Counts, nil, 4095, []float64{nan, nan, nan, nan, nan, nan}, 2},
		{"a calibration of nothing", Counts, []Line{None}, NoRail, []float64{nan, nan, nan, nan, nan, nan}, 0},
		{"one line for all", Counts, []Line{{Slope: 0.5, Offset: 1}}, 4095, []float64{1, 6, nan, 2048, nan, nan}, 2},
		{"a line each", Counts, []Line{
			{Slope: 1}, {Slope: 2, Offset: 3}, {Slope: 1}, {Slope: -1, Offset: 4094}, {Slope: 1}, None,
		}, NoRail, []float64{0, 23, nan, 0, 4095, nan}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			conv, err := NewConverter(c.unit, len(raw), c.lines)
			if err != nil {
				t.Fatal(err)
			}
			got := make([]float64, len(raw))
			if n := conv.Convert(got, raw, 0, c.rail); n != c.saturated {
				t.Errorf("%d readings at the rail, want %d", n, c.saturated)
			}
			equal(t, "values", got, c.want)

			// The parts of a split scan give what the whole gives.
			parts := make([]float64, len(raw))
			n := conv.Convert(parts, raw[:2], 0, c.rail)
			n += conv.Convert(parts[2:], raw[2:], 2, c.rail)
			equal(t, "in two parts", parts, c.want)
			if n != c.saturated {
				t.Errorf("in two parts %d readings at the rail, want %d", n, c.saturated)
			}
		})
	}
}

func TestCalibrated(t *testing.T) {
	for _, c := range []struct {
		unit  Unit
		lines []Line
		want  bool
	}{
		{MMHg, nil, true},
		{Counts, nil, false},
		{Counts, []Line{None, None}, false},
		{Counts, []Line{None, {Slope: 1}}, true},
	} {
		conv, err := NewConverter(c.unit, 2, c.lines)
		if err != nil {
			t.Fatal(err)
		}
		if conv.Calibrated() != c.want {
			t.Errorf("%v with %v: calibrated %v, want %v", c.unit, c.lines, conv.Calibrated(), c.want)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		unit     Unit
		channels int
		lines    []Line
		says     string
	}{
		{Counts, 0, nil, "0 channels"},
		{MMHg, 2, []Line{{Slope: 1}}, "delivers mmHg"},
		{Counts, 3, []Line{{Slope: 1}, {Slope: 1}}, "2 channels for a source with 3"},
		{Counts, 2, []Line{{Slope: 1}, {}}, "channel 1: calibration has slope 0"},
		{Counts, 1, []Line{{Slope: math.Inf(1)}}, "not finite"},
		{Counts, 1, []Line{{Slope: 1, U: -1}}, "negative"},
	} {
		if _, err := NewConverter(c.unit, c.channels, c.lines); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, %d channels, %v: error %v, want one that says %q", c.unit, c.channels, c.lines, err, c.says)
		}
	}
}

func TestConvertRefusesForeignChannels(t *testing.T) {
	conv, _ := NewConverter(MMHg, 4, nil)
	defer func() {
		if recover() == nil {
			t.Error("five readings of a source with four channels were converted")
		}
	}()
	conv.Convert(make([]float64, 5), make([]float64, 5), 0, NoRail)
}

// The loops agree with the definition, whatever is in them.
func TestConvertIsTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reading := rapid.OneOf(rapid.Just(nan), rapid.Float64Range(0, 70000), rapid.Map(rapid.IntRange(0, 65535), func(i int) float64 { return float64(i) }))
		raw := rapid.SliceOfN(reading, 1, 50).Draw(t, "raw")
		line := rapid.Custom(func(t *rapid.T) Line {
			if rapid.IntRange(0, 5).Draw(t, "none") == 0 {
				return None
			}
			return Line{Slope: rapid.Float64Range(0.001, 3).Draw(t, "slope"), Offset: rapid.Float64Range(-50, 50).Draw(t, "offset")}
		})
		lines := rapid.SliceOfN(line, len(raw), len(raw)).Draw(t, "lines")
		rail := rapid.SampledFrom([]float64{NoRail, 4095, 100}).Draw(t, "rail")
		conv, err := NewConverter(Counts, len(raw), lines)
		if err != nil {
			t.Fatal(err)
		}
		values := make([]float64, len(raw))
		saturated := conv.Convert(values, raw, 0, rail)
		for i, v := range raw {
			want := lines[i].At(v)
			if v >= rail {
				want, saturated = nan, saturated-1
			}
			if !same(values[i], want) {
				t.Fatalf("channel %d: count %v with %+v gave %v, want %v", i, v, lines[i], values[i], want)
			}
		}
		if saturated != 0 {
			t.Fatalf("%d too many readings at the rail", saturated)
		}
	})
}

func BenchmarkConvert(b *testing.B) {
	const n = 2048
	raw, values := make([]float64, n), make([]float64, n)
	for i := range raw {
		raw[i] = float64(i * 7919 % 4096)
	}
	lines := make([]Line, n)
	for i := range lines {
		lines[i] = Line{Slope: 0.02 + float64(i)*1e-6}
	}
	for _, c := range []struct {
		name  string
		unit  Unit
		lines []Line
	}{{"mmHg", MMHg, nil}, {"uniform", Counts, lines[:1]}, {"each", Counts, lines}} {
		b.Run(c.name, func(b *testing.B) {
			conv, err := NewConverter(c.unit, n, c.lines)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				conv.Convert(values, raw, 0, 4095)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/cell")
		})
	}
}
