package ble

import (
	"encoding/hex"
	"math"
	"testing"

	"weald/ingest/ble/standin"
	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Values of characteristic 0x2A6D, derived from its definition: 32 bits little
// endian, 0.1 Pa a step.
var vectors = []struct {
	hex    string
	pascal float64
	mmHg   float64 // of the true pressure that was encoded
}{
	{"00000000", 0, 0},
	{"a7a60000", 4266.3, 32},
	{"51d00000", 5332.9, 40},
	{"79380100", 7999.3, 60},
	{"ca080200", 13332.2, 100},
}

func TestParsePressure(t *testing.T) {
	for _, v := range vectors {
		value, _ := hex.DecodeString(v.hex)
		pascals, ok := parsePressure(value)
		if !ok || math.Abs(pascals-v.pascal) > 1e-9 {
			t.Errorf("%s is %v Pa, %v, want %v", v.hex, pascals, ok, v.pascal)
		}
		// Half a step of 0.1 Pa is 0.000375 mmHg.
		if mmHg := float64(sample.FromPascals(pascals)); math.Abs(mmHg-v.mmHg) > 0.000376 {
			t.Errorf("%s is %v mmHg, want %v", v.hex, mmHg, v.mmHg)
		}
	}
	if mmHg := sample.FromPascals(5332.9); math.Abs(float64(mmHg)-40.00003) > 1e-5 {
		t.Errorf("5332.9 Pa is %v mmHg, want 40.00003", mmHg)
	}
	for _, n := range []int{0, 3, 5} {
		if _, ok := parsePressure(make([]byte, n)); ok {
			t.Errorf("%d bytes are taken for a pressure", n)
		}
	}
}

// last is a frame.Handler that keeps what came last.
type last struct {
	f            frame.Frame
	bad          frame.Bad
	frames, bads int
}

func (l *last) Frame(f *frame.Frame) {
	l.f, l.frames = *f, l.frames+1
	l.f.Readings = append([]float64(nil), f.Readings...)
}

func (l *last) Bad(b *frame.Bad) { l.bad, l.bads = *b, l.bads+1 }

// sensor is a ward whose pad is a plain pressure sensor.
func sensor(t *testing.T) (*ward, *standin.Characteristic) {
	value := &standin.Characteristic{UUID: "00002a6d-0000-1000-8000-00805f9b34fb", Flags: []string{"read", "notify"}, Acquire: true}
	s := &standin.Service{UUID: "0000181a-0000-1000-8000-00805f9b34fb", Characteristics: []*standin.Characteristic{value}}
	return newWard(t, true, func(w *ward) { w.pad.Services = []*standin.Service{s} }), value
}

// mmHg converts the only reading of a frame as its source's calibration does.
func mmHg(t *testing.T, p *Pressure, f *frame.Frame) float64 {
	t.Helper()
	convert, err := calib.NewConverter(calib.Counts, 1, []calib.Line{p.Line()})
	if err != nil {
		t.Fatal(err)
	}
	var got [1]float64
	convert.Convert(got[:], f.Readings, f.First, calib.NoRail)
	return got[0]
}

func TestAPressureSensorIsABridge(t *testing.T) {
	w, value := sensor(t)
	p := &Pressure{Is: Gauge, Source: 7}
	l := w.link(t, Config{Address: padAddress, Pressure: p})
	decoder := frame.NewPacked()
	var seq, millis uint32
	for connection := range 2 {
		c := open(t, l)
		for i, v := range vectors {
			b, _ := hex.DecodeString(v.hex)
			value.Notify(b)
			var h last
			decoder.Message(message(t, c), &h)
			if h.frames != 1 || h.f.Source != 7 || h.f.First != 0 || len(h.f.Readings) != 1 || h.f.More {
				t.Fatalf("%s became %+v, %v", v.hex, h.f, h.bad)
			}
			// Half a count of 1 Pa, and half a step of the characteristic.
			if got := mmHg(t, p, &h.f); math.Abs(got-v.mmHg) > 0.00376+0.00038 {
				t.Errorf("%s is %v mmHg, want %v", v.hex, got, v.mmHg)
			}
			if first := connection == 0 && i == 0; !first && (h.f.Seq != seq+1 || h.f.Millis < millis) {
				t.Errorf("frame %d at %d ms follows frame %d at %d ms", h.f.Seq, h.f.Millis, seq, millis)
			}
			seq, millis = h.f.Seq, h.f.Millis
		}
		c.Close()
	}
}

func TestAbsolutePressureIsMeasuredAgainstAmbient(t *testing.T) {
	p := &Pressure{Is: Absolute, Ambient: 1013.25}
	e := newEncoder(p)
	var buf []byte
	for _, c := range []struct {
		pascals float64
		mmHg    float64
	}{
		{101325, 0},
		{101325 + 5332.9, 40},
		{101325 - 1333.2, -10}, // below ambient is told as it is
		{101325 + 20000, 150.0123},
	} {
		tenths := uint32(math.Round(10 * c.pascals))
		var h last
		frame.NewPacked().Message(e.encode(&buf, []byte{byte(tenths), byte(tenths >> 8), byte(tenths >> 16), byte(tenths >> 24)}), &h)
		if got := mmHg(t, p, &h.f); h.frames != 1 || math.Abs(got-c.mmHg) > 0.0076 { // half a count of 2 Pa
			t.Errorf("%v Pa against 1013.25 hPa is %v mmHg, want %v", c.pascals, got, c.mmHg)
		}
	}
}

// A sensor that ran out of its range must not look like one at the limit.
func TestAPressureBeyondTheCountsIsNoReading(t *testing.T) {
	var buf []byte
	for _, is := range []Reference{Gauge, Absolute} {
		e := newEncoder(&Pressure{Is: is})
		for _, value := range []string{"ffffffff", "9cffffff", "00007fff"} {
			b, _ := hex.DecodeString(value)
			var h last
			frame.NewPacked().Message(e.encode(&buf, b), &h)
			if h.frames != 1 || !sample.IsUnknown(h.f.Readings[0]) {
				t.Errorf("%s, %s: %v", is, value, h.f.Readings)
			}
		}
		top := uint32(10 * e.step * highest)
		var h last
		frame.NewPacked().Message(e.encode(&buf, []byte{byte(top), byte(top >> 8), byte(top >> 16), byte(top >> 24)}), &h)
		if h.frames != 1 || h.f.Readings[0] != highest {
			t.Errorf("%s, the highest count: %v", is, h.f.Readings)
		}
	}
}

func TestAMalformedPressureIsCountedAsBad(t *testing.T) {
	w, value := sensor(t)
	c := open(t, w.link(t, Config{Address: padAddress, Pressure: &Pressure{Is: Gauge}}))
	value.Notify([]byte{1, 2, 3})
	var h last
	frame.NewPacked().Message(message(t, c), &h)
	if h.bads != 1 || h.bad.Reason != frame.BadLength {
		t.Errorf("three bytes became %+v, %v", h.f, h.bad)
	}
}
