package frame

import (
	"bytes"
	"slices"
	"testing"
	"time"
)

// sameInTwo feeds p to fresh decoders whole and cut in two and wants the same.
func sameInTwo(t *testing.T, fresh func() Decoder, p []byte, cut uint) *record {
	whole := decode(fresh(), p)
	d, r := fresh(), &record{}
	n := int(cut % uint(len(p)+1))
	d.Feed(p[:n], r)
	d.Feed(p[n:], r)
	d.Flush(r)
	if !whole.equal(r) {
		t.Fatalf("cut at %d it reads otherwise (-whole +cut):\n%s", n, diff(whole, r))
	}
	return whole
}

// repeated lets a short input reach the limits of a format, since the fuzzer is
// slow on long ones.
func repeated(p []byte, times uint) []byte { return bytes.Repeat(p, 1+int(times%64)) }

// What decodes from a line encodes to a line that decodes to the same.
func FuzzLine(f *testing.F) {
	f.Add([]byte(sum("w1,3,506456969,3268308804,516")), uint(5), uint(2))
	f.Add([]byte(sum("w1,65535,0,0,,3122,65534")+sum("w1,0,1,2,")), uint(30), uint(0))
	f.Add([]byte("w1,0,7,1000,1,2,3,4*\r\nw9,0,7,1000,1,2,3,4*60\r\n"), uint(0), uint(0))
	f.Add(bytes.Repeat([]byte("9"), 65), uint(4097), uint(63))
	f.Fuzz(func(t *testing.T, p []byte, cut, times uint) {
		p = repeated(p, times)
		r := sameInTwo(t, func() Decoder { return NewLine() }, p, cut)
		// A random checksum is rarely right: once more with the right one.
		summed := decode(NewLine(), []byte(sum(string(p))))
		for _, want := range append(r.frames, summed.frames...) {
			b, err := AppendLine(nil, &want)
			if err != nil {
				t.Fatalf("%+v was read and cannot be written: %v", want, err)
			}
			if got := decode(NewLine(), b).only(t); !equalFrames(want, got) {
				t.Fatalf("%q (-first +again):\n%s", b, diff(want, got))
			}
		}
		d := NewLine()
		d.Feed(p, &record{})
		if cap(d.cut.held) > maxLine+1 {
			t.Fatalf("the buffer has grown to %d", cap(d.cut.held))
		}
	})
}

// What decodes from a packed frame encodes to the very bytes it came from.
func FuzzPacked(f *testing.F) {
	for _, c := range []Coding{U16, U12, U8} {
		f.Add(mustWire(&Frame{Kind: Readings, Source: 7, Seq: 1 << 31, First: 512, More: true, Readings: []float64{1, 2, 255}}, c), uint(9), uint(1))
	}
	f.Add(mustWire(&Frame{Kind: Status, Health: Health{BatteryMV: 3712, BatteryPercent: 64, Celsius: 31, UptimeS: 60, Firmware: "demo-1.0"}}, 0), uint(20), uint(0))
	f.Add([]byte{0, 0, 3, 17, 0, 2, 0}, uint(3), uint(0))
	f.Add(bytes.Repeat([]byte{1}, 130), uint(8225), uint(63))
	f.Fuzz(func(t *testing.T, p []byte, cut, times uint) {
		p = repeated(p, times)
		sameInTwo(t, func() Decoder { return NewPacked() }, p, cut)

		// A random CRC is never right: what the bytes say goes in with its CRC.
		for _, bare := range [][]byte{p, seal(p)} {
			r := &record{}
			NewPacked().Message(bare, r)
			if len(r.frames)+len(r.bads) != 1 {
				t.Fatalf("one message gave %v", r.order)
			}
			for _, got := range r.frames {
				var coding Coding
				if got.Kind == Readings {
					coding = Coding(bare[16])
				}
				again, err := AppendPacked(nil, &got, coding)
				if err != nil || !slices.Equal(again, bare) {
					t.Fatalf("%x was read and written as %x, %v", bare, again, err)
				}
			}
		}

		d := NewPacked()
		d.Feed(p, &record{})
		if longest := cobsMax(MaxPacked); cap(d.cut.held) > longest || cap(d.work) > longest || cap(d.read) > MaxPacked {
			t.Fatalf("buffers have grown to %d, %d and %d", cap(d.cut.held), cap(d.work), cap(d.read))
		}
	})
}

// fuzzedLoggers are descriptions that a fuzzed byte chooses from.
func fuzzedLoggers() []Delimited {
	comma := legLogger()
	blanks := Delimited{Separator: "space", HeaderLines: 1, Time: TimeColumn{Column: 1, As: InMilliseconds}, Channels: []int{0, 2}, Empty: []string{"-1"}}
	named := Delimited{
		Separator: ";", Decimal: ',', Columns: 4, Time: TimeColumn{Column: 3, As: InRFC3339}, Channels: []int{2},
		Source: SourceColumn{1, map[string]uint16{"seat": 4, "back \"1\"": 5}},
	}
	local := Delimited{Separator: "\t", Time: TimeColumn{As: InLayout, Layout: "2006-01-02 15:04:05.999999999", Zone: time.UTC}, Channels: []int{1}}
	single := Delimited{Separator: ",", Time: TimeColumn{Column: -1, Period: time.Second}, Channels: []int{0}}
	return []Delimited{comma, blanks, named, local, single}
}

// What decodes from a row encodes to a row that decodes to the same.
func FuzzDelimited(f *testing.F) {
	f.Add([]byte("1702378176.106295,1,-2.5,3e1,4\n2,,NA,\"7\", 8 \n"), uint(8), uint(0))
	f.Add([]byte("head\r\n 1  1702378176106.5  -1 \r\n\"\" 2 3"), uint(9), uint(1))
	f.Add([]byte("x;seat;1,5;1990-12-31T23:59:60Z\n;\"back \"\"1\"\"\";;2024-01-01T00:00:00+01:00;;\n"), uint(50), uint(2))
	f.Add([]byte("2023-12-12 10:49:36.5\t7\n\t\n"), uint(3), uint(3))
	f.Add([]byte("\xEF\xBB\xBF5\n\n7\n"), uint(1), uint(4))
	loggers := fuzzedLoggers()
	f.Fuzz(func(t *testing.T, p []byte, cut, which uint) {
		c := loggers[which%uint(len(loggers))]
		r := sameInTwo(t, func() Decoder { return newRows(t, c) }, p, cut)
		c.HeaderLines = 0
		for _, want := range r.frames {
			b, err := c.AppendRow(nil, &want)
			if err != nil {
				t.Fatalf("%+v was read and cannot be written: %v", want, err)
			}
			got := decode(newRows(t, c), b).only(t)
			want.Seq, got.Seq = 0, 0
			if c.Time.Column < 0 { // such rows have their time by their place
				want.Wall, want.Millis = got.Wall, got.Millis
			}
			if !equalFrames(want, got) {
				t.Fatalf("%q (-first +again):\n%s", b, diff(want, got))
			}
		}
	})
}
