package frame

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// legLogger is four columns after a time in seconds.
func legLogger() Delimited {
	return Delimited{
		Separator: ",",
		Time:      TimeColumn{Column: 0, As: InSeconds},
		Channels:  []int{1, 2, 3, 4},
		Source:    SourceColumn{Column: -1},
		Empty:     []string{"", "NA"},
	}
}

func newRows(t testing.TB, c Delimited) *Rows {
	t.Helper()
	d, err := NewDelimited(c)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func at(seconds float64) sample.Instant { return sample.Instant(math.Round(seconds * 1e9)) }

func TestRows(t *testing.T) {
	c := legLogger()
	c.HeaderLines = 1
	r := decode(newRows(t, c), []byte("\uFEFFtime,a,b,c,d\r\n1702378176.106295,1,-2.5,3e1,4\r\n\r\n1702378176.2,,NA,\"7\", 8 \n1702378177,1,2,3,4,extra,\n1702378178,1,2,3,4"))
	want := []Frame{
		{Wall: 1702378176106295000, Seq: 0, Readings: []float64{1, -2.5, 30, 4}},
		{Wall: 1702378176200000000, Seq: 1, Readings: []float64{math.NaN(), math.NaN(), 7, 8}},
		{Wall: 1702378177000000000, Seq: 2, Readings: []float64{1, 2, 3, 4}, Wide: Width{Columns: 6, Usual: 5, Line: 5}},
		{Wall: 1702378178000000000, Seq: 3, Readings: []float64{1, 2, 3, 4}},
	}
	for i := range want {
		want[i].Kind = Readings
		want[i].Millis = uint32(uint64(want[i].Wall) / 1e6)
	}
	if d := diff(&record{frames: want}, &record{frames: r.frames, bads: r.bads}); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestRowsSeparators(t *testing.T) {
	for _, c := range []struct {
		separator string
		decimal   byte
		row       string
	}{
		{",", '.', "1.5,10,20.25,30,40"},
		{";", ',', "1,5;10;20,25;30;40"},
		{"\t", '.', "1.5\t10\t20.25\t30\t40"},
		{"\t", ',', "1,5\t 10 \t20,25\t30\t40\t"},
		{"|", 0, "1.5|10|20.25|30|40|"},
		{"space", '.', "1.5 10 20.25 30 40"},
		{"space", '.', " \t 1.5   10\t20.25 \"30\"   40  "},
		{",", ',', `"1,5",10,"20,25",30,40`},
	} {
		d := legLogger()
		d.Separator, d.Decimal = c.separator, c.decimal
		if c.separator == "," && c.decimal == ',' {
			if _, err := NewDelimited(d); err == nil {
				t.Error("a comma was taken for both separator and decimal mark")
			}
			continue
		}
		f := decode(newRows(t, d), []byte(c.row)).only(t)
		if f.Wall != at(1.5) || diff([]float64{10, 20.25, 30, 40}, f.Readings) != "" {
			t.Errorf("%q: got %v %v", c.row, f.Wall, f.Readings)
		}
	}
}

func TestRowsTimes(t *testing.T) {
	for _, c := range []struct {
		time TimeColumn
		cell string
		want string
	}{
		{TimeColumn{As: InSeconds}, "1702378176.106295", "2023-12-12T10:49:36.106295Z"},
		{TimeColumn{As: InMilliseconds}, "1702378176106.295", "2023-12-12T10:49:36.106295Z"},
		{TimeColumn{As: InRFC3339}, "2023-12-12T11:49:36.106295+01:00", "2023-12-12T10:49:36.106295Z"},
		{TimeColumn{As: InLayout, Layout: "02.01.2006 15:04:05.999999", Zone: zone(t, "Europe/Berlin")}, "12.12.2023 11:49:36.106295", "2023-12-12T10:49:36.106295Z"},
		{TimeColumn{As: InLayout, Layout: "2006-01-02 15:04", Zone: time.UTC}, `"2023-12-12 10:49"`, "2023-12-12T10:49:00Z"},
		{TimeColumn{As: InSeconds}, "-0.0001", "1969-12-31T23:59:59.9999Z"},
	} {
		d := legLogger()
		d.Time = c.time
		f := decode(newRows(t, d), []byte(c.cell+",1,2,3,4\n")).only(t)
		if got := f.Wall.String(); got != c.want {
			t.Errorf("%s: got %s, want %s", c.cell, got, c.want)
		}
		if want := uint32(f.Wall.Time().UnixMilli()); f.Millis != want {
			t.Errorf("%s: device counter %d, want %d", c.cell, f.Millis, want)
		}
	}
}

func TestRowsWithoutTime(t *testing.T) {
	c := Delimited{Separator: "\t", Time: TimeColumn{Column: -1, Period: 500 * time.Millisecond, Start: at(100)}, Channels: []int{1, 0}}
	r := decode(newRows(t, c), []byte("1\t2\n3\tx\n5\t6\n"))
	if len(r.frames) != 2 || r.frames[0].Wall != at(100) || r.frames[1].Wall != at(101) {
		t.Fatalf("got %+v; a refused row takes its time with it", r.frames)
	}
	if diff([]float64{2, 1}, r.frames[0].Readings) != "" {
		t.Errorf("channels in the wrong order: %v", r.frames[0].Readings)
	}
}

// In a file of one column and no times, an empty line is a reading that is
// missing; elsewhere it is nothing.
func TestRowsEmptyLine(t *testing.T) {
	c := Delimited{Separator: ",", Time: TimeColumn{Column: -1, Period: time.Second}, Channels: []int{0}}
	r := decode(newRows(t, c), []byte("5\n\n7\n"))
	if len(r.frames) != 3 || !sample.IsUnknown(r.frames[1].Readings[0]) || r.frames[2].Wall != at(2) {
		t.Errorf("one column: got %+v", r.frames)
	}
	r = decode(newRows(t, legLogger()), []byte("1,1,2,3,4\n\n  \n2,1,2,3,4\n"))
	if len(r.frames) != 2 || len(r.bads) != 0 || r.frames[1].Seq != 1 {
		t.Errorf("several columns: got %v, number %d", r.order, r.frames[1].Seq)
	}
}

func TestRowsNameTheirSource(t *testing.T) {
	c := Delimited{
		Separator: ",", Time: TimeColumn{As: InSeconds}, Channels: []int{2, 3},
		Source: SourceColumn{Column: 1, Is: map[string]uint16{"seat": 0, "back": 1}},
	}
	r := decode(newRows(t, c), []byte("1,seat,1,2\n1.1,back,3,4\n1.2,seat,x,6\n1.3,wheel,7,8\n1.4,back,9,10\n1.5,seat,11,12\n"))
	if want := "frame frame number source frame frame"; strings.Join(r.order, " ") != want {
		t.Fatalf("got %v, want %s", r.order, want)
	}
	for i, want := range []struct {
		source uint16
		seq    uint32
	}{{0, 0}, {1, 0}, {1, 1}, {0, 2}} {
		if f := r.frames[i]; f.Source != want.source || f.Seq != want.seq {
			t.Errorf("frame %d: source %d number %d, want %+v", i, f.Source, f.Seq, want)
		}
	}
}

func TestRowsMarks(t *testing.T) {
	c := legLogger()
	c.Empty = []string{"-999", "NaN", " off "}
	f := decode(newRows(t, c), []byte("1,-999.0,NaN,off,\n")).only(t)
	for i, v := range f.Readings {
		if !sample.IsUnknown(v) {
			t.Errorf("cell %d reads %v, want no reading", i, v)
		}
	}
}

func TestRowsMessage(t *testing.T) {
	c := legLogger()
	c.HeaderLines = 1
	d, r := newRows(t, c), &record{}
	d.Message([]byte("head\n1,1,2,3,4"), r)
	d.Message([]byte("2,1,2,3,4\n3,1,2,3,4\n"), r)
	d.Message([]byte("x"), r)
	if want := "frame frame frame fields"; strings.Join(r.order, " ") != want || r.bads[0].Line != 5 {
		t.Errorf("got %v %+v, want %s at line 5", r.order, r.bads, want)
	}
}

func TestRowsMat(t *testing.T) {
	c := Delimited{Separator: "\t", Time: TimeColumn{Column: -1, Period: time.Second}}
	f := matScan(2048, 0.4, 4095)
	for i := range f.Readings {
		c.Channels = append(c.Channels, i)
	}
	row, err := c.AppendRow(nil, f)
	if err != nil {
		t.Fatal(err)
	}
	if got := decode(newRows(t, c), row).only(t); diff(f.Readings, got.Readings) != "" {
		t.Error("a row of 2048 cells came through changed")
	}
}

func drawRow(t *rapid.T, c *Delimited) (Frame, []byte) {
	f := Frame{Kind: Readings, Wall: sample.Instant(rapid.Int64Range(-1e18, 4e18).Draw(t, "wall"))}
	for range c.Channels {
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "reading")
		if rapid.IntRange(0, 4).Draw(t, "missing") == 0 {
			v = sample.Unknown
		}
		f.Readings = append(f.Readings, v)
	}
	f.Millis = uint32(f.Wall.Time().UnixMilli())
	row, err := c.AppendRow(nil, &f)
	if err != nil {
		t.Fatal(err)
	}
	return f, row
}

func TestRowsRoundTripCutsAndDamage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := legLogger()
		c.Separator = rapid.SampledFrom([]string{";", "\t", "space"}).Draw(t, "separator")
		c.Decimal = rapid.SampledFrom([]byte{'.', ','}).Draw(t, "decimal")
		c.Time.As = rapid.SampledFrom([]TimeForm{InSeconds, InMilliseconds, InRFC3339}).Draw(t, "form")
		var want []Frame
		var units [][]byte
		for i := range rapid.IntRange(1, 5).Draw(t, "rows") {
			f, row := drawRow(t, &c)
			f.Seq = uint32(i)
			want, units = append(want, f), append(units, row)
		}
		fresh := func() Decoder {
			d, err := NewDelimited(c)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
		if d := diff(&record{frames: want}, &record{frames: decode(fresh(), slices.Concat(units...)).frames}); d != "" {
			t.Fatalf("round trip (-want +got):\n%s", d)
		}
		wire, intact := damage(t, units)
		checkCuts(t, fresh, wire)
		// Rows have no checksum: a damaged one may read as another, and a lost
		// or extra line ending renumbers. What was not touched is there.
		var through []Frame
		for i, ok := range intact {
			if ok {
				through = append(through, want[i])
			}
		}
		got := decode(fresh(), wire).frames
		for i := range through {
			through[i].Seq = 0
		}
		for i := range got {
			got[i].Seq = 0
		}
		wantInOrder(t, through, got)
	})
}
