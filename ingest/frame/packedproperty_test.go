package frame

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// drawPacked draws a frame that the packed format can carry, and its coding.
func drawPacked(t *rapid.T) (Frame, Coding) {
	f := drawHead(t)
	if rapid.IntRange(0, 9).Draw(t, "is status") == 0 {
		f.Kind = Status
		f.Health = Health{
			BatteryMV:      rapid.IntRange(-1, 65534).Draw(t, "mV"),
			BatteryPercent: rapid.IntRange(-1, 100).Draw(t, "percent"),
			Celsius:        rapid.IntRange(-128, 127).Draw(t, "celsius"),
			UptimeS:        rapid.Uint32().Draw(t, "uptime"),
			Firmware:       rapid.StringN(0, 20, 80).Draw(t, "firmware"),
		}
		return f, 0
	}
	coding := rapid.SampledFrom([]Coding{U16, U12, U8}).Draw(t, "coding")
	top := map[Coding]int{U16: 65535, U12: 4095, U8: 255}[coding]
	f.First = int(rapid.Uint16().Draw(t, "first"))
	f.More = rapid.Bool().Draw(t, "more")
	f.Stored = rapid.Bool().Draw(t, "stored")
	f.Top = coding.top()
	f.Readings = []float64{}
	for range rapid.SampledFrom([]int{0, 1, 2, 3, 4, 5, 8, 9, 64, 301}).Draw(t, "readings") {
		v := float64(max(0, rapid.IntRange(-top, top).Draw(t, "reading")))
		if v == 65535 {
			v = sample.Unknown
		}
		f.Readings = append(f.Readings, v)
	}
	return f, coding
}

func TestPackedRoundTripCutsAndDamage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want []Frame
		var units [][]byte
		for range rapid.IntRange(1, 6).Draw(t, "frames") {
			f, coding := drawPacked(t)
			want = append(want, f)
			units = append(units, mustWire(&f, coding))
		}
		if d := diff(&record{frames: want}, &record{frames: decode(NewPacked(), slices.Concat(units...)).frames}); d != "" {
			t.Fatalf("round trip (-want +got):\n%s", d)
		}
		wire, intact := damage(t, units)
		checkCuts(t, func() Decoder { return NewPacked() }, wire)
		got := decode(NewPacked(), wire)
		var through []Frame
		for i, ok := range intact {
			if ok {
				through = append(through, want[i])
			}
		}
		wantInOrder(t, through, got.frames)
		// A CRC lets nothing else pass.
		wantInOrder(t, got.frames, want)
	})
}
