package frame

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"math"
	"slices"
	"strings"
	"testing"

	"weald/ingest/sample"
)

// The check value of CRC-32C is from memory (high confidence) and was computed
// again from the polynomial.
func TestCRC32CCheckValue(t *testing.T) {
	if got := crc32.Checksum([]byte("123456789"), castagnoli); got != 0xE3069283 {
		t.Errorf("got %08X, want E3069283", got)
	}
}

// seal gives b a right CRC, so that what else is wrong with it comes to light.
func seal(b []byte) []byte {
	return binary.LittleEndian.AppendUint32(slices.Clone(b), crc32.Checksum(b, castagnoli))
}

// header is a readings frame up to its payload.
func header(count uint16, coding, flags byte) []byte {
	b := []byte{1, 1, 7, 0, 9, 0, 0, 0, 0x10, 0x27, 0, 0, 0, 2}
	b = binary.LittleEndian.AppendUint16(b, count)
	return append(b, coding, flags)
}

// withByte returns b with one byte changed.
func withByte(b []byte, at int, v byte) []byte {
	b = slices.Clone(b)
	b[at] = v
	return b
}

func TestPackedByHand(t *testing.T) {
	want := func(readings []float64, top float64) Frame {
		return Frame{Kind: Readings, Source: 7, Seq: 9, Millis: 10000, Wall: sample.Never, First: 512, Readings: readings, Top: top}
	}
	for _, c := range []struct {
		name string
		bare []byte
		want Frame
	}{
		{"u16", append(header(3, 0, 0), 1, 2, 0xFE, 0xFF, 0xFF, 0xFF), want([]float64{0x201, 65534, math.NaN()}, 0)},
		{"u12 pair", append(header(2, 1, 0), 0x23, 0x61, 0x45), want([]float64{0x123, 0x456}, 4095)},
		{"u12 odd", append(header(3, 1, 0), 0xFF, 0x0F, 0x00, 0xFF, 0x0F), want([]float64{4095, 0, 4095}, 4095)},
		{"u12 one", append(header(1, 1, 0), 0xBC, 0x0A), want([]float64{0xABC}, 4095)},
		{"u8", append(header(2, 2, 0), 0, 255), want([]float64{0, 255}, 255)},
		{"no readings end a scan", header(0, 0, 0), want([]float64{}, 0)},
	} {
		r := &record{}
		NewPacked().Message(seal(c.bare), r)
		if d := diff(c.want, r.only(t)); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

func TestPackedFlags(t *testing.T) {
	for flags, want := range []struct{ more, stored bool }{{false, false}, {true, false}, {false, true}, {true, true}} {
		r := &record{}
		NewPacked().Message(seal(append(header(1, 2, byte(flags)), 5)), r)
		if f := r.only(t); f.More != want.more || f.Stored != want.stored {
			t.Errorf("flags %d: more %v, stored %v", flags, f.More, f.Stored)
		}
	}
}

func TestPackedRefusals(t *testing.T) {
	good := append(header(4, 0, 0), 5, 0, 6, 0, 7, 0, 8, 0)
	status, err := AppendPacked(nil, &Frame{Kind: Status, Health: Health{Firmware: "demo-1.0"}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	status = status[:len(status)-crcLen]
	for _, c := range []struct {
		name string
		bare []byte
		want Reason
	}{
		{"nothing", nil, BadLength},
		{"a header without CRC", good[:headerLen+crcLen-1], BadLength},
		{"cut in the CRC", seal(good)[:len(good)+1], BadLength},
		{"cut in the readings", seal(good)[:len(good)], BadLength},
		{"garbled reading", withByte(seal(good), headerLen, 1), BadChecksum},
		{"garbled version", withByte(seal(good), 0, 9), BadChecksum},
		{"version 2", seal(withByte(good, 0, 2)), BadVersion},
		{"version 2 of another shape", seal(withByte(withByte(good, 0, 2), 14, 99)), BadVersion},
		{"kind 3", seal(withByte(good, 1, 3)), BadCoding},
		{"coding 3", seal(withByte(good, 16, 3)), BadCoding},
		{"count one too many", seal(withByte(good, 14, 5)), BadFields},
		{"count one too few", seal(withByte(good, 14, 3)), BadFields},
		{"coding of another size", seal(withByte(good, 16, 2)), BadFields},
		{"flag bit 2", seal(withByte(good, 17, 4)), BadFields},
		{"odd 12-bit reading above 4095", seal(append(header(1, 1, 0), 0, 0x10)), BadRange},
		{"too long", seal(append(header(4096, 0, 0), make([]byte, 8192)...)), BadLength},
		{"status with a count", seal(withByte(status, 14, 1)), BadFields},
		{"status with flags", seal(withByte(status, 17, 2)), BadFields},
		{"status with a long name", seal(withByte(status, headerLen+8, 9)), BadFields},
		{"status with a short name", seal(withByte(status, headerLen+8, 7)), BadFields},
		{"status cut before the name", seal(status[:headerLen+5]), BadFields},
		{"status cut in the CRC", seal(status)[:len(status)+2], BadLength},
		{"battery 101 %", seal(withByte(status, headerLen+2, 101)), BadRange},
		{"name not UTF-8", seal(withByte(status, headerLen+statusLen, 0xFF)), BadRange},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := &record{}
			NewPacked().Message(c.bare, r)
			r.wantBad(t, c.want)
		})
	}
}

func TestPackedStatusUnknowns(t *testing.T) {
	want := Frame{Kind: Status, Source: 3, Wall: sample.Never, Health: Health{BatteryMV: -1, BatteryPercent: -1, Celsius: NoCelsius}}
	bare, err := AppendPacked(nil, &want, 0)
	if err != nil {
		t.Fatal(err)
	}
	if p := bare[headerLen:]; p[0] != 0xFF || p[1] != 0xFF || p[2] != 0xFF || p[3] != 0x80 {
		t.Errorf("unknowns are written as % x, want ff ff ff 80", p[:4])
	}
	r := &record{}
	NewPacked().Message(bare, r)
	if d := diff(want, r.only(t)); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Readings of another source must not show the health of the last status.
func TestPackedHealthStaysWithStatus(t *testing.T) {
	wire := slices.Concat(
		mustWire(&Frame{Kind: Status, Source: 1, Health: Health{BatteryMV: 3700, Firmware: "demo-1.0"}}, 0),
		mustWire(&Frame{Kind: Readings, Source: 2, Readings: []float64{1}}, U8),
		mustWire(&Frame{Kind: Status, Source: 3, Health: Health{Firmware: "demo-1.1"}}, 0))
	r := decode(NewPacked(), wire)
	if len(r.frames) != 3 {
		t.Fatalf("got %v", r.order)
	}
	if r.frames[1].Health != (Health{}) {
		t.Errorf("readings carry %+v", r.frames[1].Health)
	}
	if got := r.frames[2].Health.Firmware; got != "demo-1.1" {
		t.Errorf("firmware %q, want the new name", got)
	}
}

func TestPackedStream(t *testing.T) {
	a := mustWire(&Frame{Kind: Readings, Source: 1, Readings: []float64{1, 2}}, U8)
	b := mustWire(&Frame{Kind: Readings, Source: 2, Readings: []float64{3, 4}}, U12)
	for _, c := range []struct {
		name string
		in   []byte
		want string
	}{
		{"idle zeros count for nothing", slices.Concat([]byte{0, 0}, a, []byte{0, 0, 0}, b, []byte{0}), "frame frame"},
		{"begun in mid-frame", slices.Concat(a[4:], b), "length frame"},
		{"cut by the end", slices.Concat(a, b[:len(b)-1]), "frame length"},
		{"a code past the end", slices.Concat([]byte{9, 1, 0}, b), "coding frame"},
		{"a lost delimiter costs both", slices.Concat(a[:len(a)-1], b, a), "length frame"},
		{"noise without end, once", slices.Concat(bytes.Repeat([]byte{7}, 100_000), []byte{0}, b), "length frame"},
		{"longest that could be", slices.Concat(bytes.Repeat([]byte{1}, cobsMax(MaxPacked)), []byte{0}, b), "length frame"},
		{"one byte longer", slices.Concat(bytes.Repeat([]byte{1}, cobsMax(MaxPacked)+1), []byte{0}, b), "length frame"},
	} {
		if got := strings.Join(decode(NewPacked(), c.in).order, " "); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

func TestPackedLongestFrame(t *testing.T) {
	f := &Frame{Kind: Readings, Readings: make([]float64, MaxPacked-headerLen-crcLen)}
	for i := range f.Readings {
		f.Readings[i] = float64(i % 256)
	}
	if got := decode(NewPacked(), mustWire(f, U8)).only(t); diff(f.Readings, got.Readings) != "" {
		t.Error("the longest frame came through changed")
	}
	f.Readings = append(f.Readings, 0)
	if got, err := AppendWire([]byte("before"), f, U8); err == nil || string(got) != "before" {
		t.Errorf("a frame one byte longer was written (%d bytes)", len(got))
	}
}

func TestPackedReset(t *testing.T) {
	wire := mustWire(&Frame{Kind: Readings, Source: 1, Readings: []float64{1, 2}}, U8)
	d, r := NewPacked(), &record{}
	d.Feed(wire[:7], r)
	d.Reset()
	d.Feed(wire, r)
	d.Flush(r)
	r.only(t)
}

func TestPackedUnfit(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      Frame
		coding Coding
	}{
		{"half", Frame{Kind: Readings, Readings: []float64{0.5}}, U16},
		{"negative", Frame{Kind: Readings, Readings: []float64{-1}}, U16},
		{"the reserved value", Frame{Kind: Readings, Readings: []float64{65535}}, U16},
		{"above 12 bits", Frame{Kind: Readings, Readings: []float64{4096}}, U12},
		{"above 8 bits", Frame{Kind: Readings, Readings: []float64{256}}, U8},
		{"infinite", Frame{Kind: Readings, Readings: []float64{math.Inf(1)}}, U16},
		{"missing in 12 bits", Frame{Kind: Readings, Readings: []float64{math.NaN()}}, U12},
		{"no such coding", Frame{Kind: Readings, Readings: []float64{1}}, 3},
		{"no such kind", Frame{Kind: 3}, U16},
		{"channel too high", Frame{Kind: Readings, First: 65536}, U16},
		{"more than can be counted", Frame{Kind: Readings, Readings: make([]float64, 65536)}, U8},
		{"battery", Frame{Kind: Status, Health: Health{BatteryMV: 65535}}, 0},
		{"percent", Frame{Kind: Status, Health: Health{BatteryPercent: 101}}, 0},
		{"hot", Frame{Kind: Status, Health: Health{Celsius: 128}}, 0},
		{"long name", Frame{Kind: Status, Health: Health{Firmware: strings.Repeat("x", 256)}}, 0},
		{"name not UTF-8", Frame{Kind: Status, Health: Health{Firmware: "\xFF"}}, 0},
	} {
		if got, err := AppendPacked([]byte("before"), &c.f, c.coding); err == nil || string(got) != "before" {
			t.Errorf("%s: got %q, %v, want what was there and an error", c.name, got, err)
		}
	}
}

func mustWire(f *Frame, coding Coding) []byte {
	b, err := AppendWire(nil, f, coding)
	if err != nil {
		panic(err)
	}
	return b
}
