package ingest

import (
	"bytes"
	"os"
	"testing"
	"time"

	"weald/ingest/capture"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// inventedAt is when the invented captures begin.
const inventedAt = "2026-03-01T22:00:00Z"

// The captures in testdata that nobody recorded, by name.
var invented = map[string]func(*inventor){
	"reboot-in-mid-scan": func(v *inventor) {
		v.parts(0, 20)
		v.part(20, 0) // the device goes down before the other half
		v.off(1700 * time.Millisecond)
		v.seq, v.millis = 0, 0
		v.parts(21, 41)
	},
	"lost-part": func(v *inventor) {
		v.parts(0, 10)
		v.part(10, 0)
		v.seq++ // never arrived
		v.off(100 * time.Millisecond)
		v.parts(11, 21)
	},
	"flipped-bit": func(v *inventor) {
		for i := range uint32(30) {
			for source := range uint16(2) {
				b := v.line(source, i)
				switch {
				case i == 9 && source == 0:
					b[9] ^= 1 << 2 // a digit of a reading becomes another
				case i == 19 && source == 1:
					b[len(b)-1] ^= 1 << 6 // the end of the line is lost, and with it the next one
				}
				v.record(b)
			}
			v.off(100 * time.Millisecond)
		}
	},
}

// The invented captures are what the code above makes.
func TestInventedCaptures(t *testing.T) {
	for name := range invented {
		path := "testdata/" + name + ".wcap"
		made := invent(t, name)
		if *update {
			if err := os.WriteFile(path, made, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if kept, err := os.ReadFile(path); err != nil || !bytes.Equal(kept, made) {
			t.Errorf("%s is not what its story makes: %v", path, err)
		}
	}
}

// invent tells a story from its beginning.
func invent(t *testing.T, name string) []byte {
	b, ok := faulty[name]
	began, err := time.Parse(time.RFC3339, inventedAt)
	if !ok || err != nil {
		t.Fatalf("%s: bridge known %v, %v", name, ok, err)
	}
	v := &inventor{t: t, now: sample.At(began), seq: 72_000, millis: 3_600_000}
	v.w, err = capture.NewWriter(&v.file, capture.Header{Bridge: b.ID, Format: string(b.Format.Kind), Started: began})
	v.check(err)
	v.check(v.w.Connected(v.now))
	invented[name](v)
	v.check(v.w.Flush())
	return v.file.Bytes()
}

// An inventor makes a capture of a device that sends ten scans a second, and has
// been on for an hour.
type inventor struct {
	t      *testing.T
	file   bytes.Buffer
	w      *capture.Writer
	now    sample.Instant
	seq    uint32
	millis uint32
}

func (v *inventor) check(err error) {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
}

// off lets time pass, for the device too.
func (v *inventor) off(d time.Duration) {
	v.now = v.now.Add(d)
	v.millis += uint32(d / time.Millisecond)
}

// record appends bytes, which arrive a few ms after they were sent.
func (v *inventor) record(b []byte) {
	delay := time.Duration(3+v.seq*7%5) * time.Millisecond
	v.check(v.w.Record(v.now.Add(delay), b))
}

// parts sends whole scans of six channels, each in two frames.
func (v *inventor) parts(from, to uint32) {
	for i := from; i < to; i++ {
		v.part(i, 0)
		v.part(i, 1)
		v.off(100 * time.Millisecond)
	}
}

func (v *inventor) part(scan uint32, half int) {
	f := frame.Frame{Kind: frame.Readings, Seq: v.seq, Millis: v.millis, First: 3 * half, More: half == 0}
	for c := range 3 {
		f.Readings = append(f.Readings, float64(300+100*(3*half+c)+int(scan)))
	}
	b, err := frame.AppendWire(nil, &f, frame.U12)
	v.check(err)
	v.record(b)
	v.seq++
}

// line makes the line of scan i of a source with two channels.
func (v *inventor) line(source uint16, i uint32) []byte {
	v.seq = i
	b, err := frame.AppendLine(nil, &frame.Frame{
		Kind: frame.Readings, Source: source, Seq: i, Millis: v.millis, Readings: []float64{float64(400 + i), float64(200 + i)},
	})
	v.check(err)
	return b
}
