package frame

import (
	"testing"
	"time"

	"weald/ingest/recorded"
)

func columns(first, last int) []int {
	var cs []int
	for c := first; c <= last; c++ {
		cs = append(cs, c)
	}
	return cs
}

// A wheelchair's seat and back share the rows of one file.
func TestRecordingOfSeatAndBack(t *testing.T) {
	r := decode(newRows(t, Delimited{
		Separator: ",", Columns: 14,
		Time: TimeColumn{As: InSeconds}, Channels: columns(2, 13),
		Source: SourceColumn{1, map[string]uint16{"seat": 0, "back": 1}},
	}), recorded.Text(t, "seat-drives/speed_level1_user1_rotation.csv"))
	if len(r.bads) > 0 {
		t.Fatalf("%d rows refused, first %+v", len(r.bads), r.bads[0])
	}
	if f := r.frames[0]; f.Wall != 1702377942823014000 || f.Readings[2] != 117 {
		t.Errorf("first row read as %+v", f)
	}
	counts := map[uint16]int{}
	for _, f := range r.frames {
		if int(f.Seq) != counts[f.Source] {
			t.Fatalf("source %d: number %d for row %d", f.Source, f.Seq, counts[f.Source])
		}
		counts[f.Source]++
	}
	if counts[0] < 100 || counts[1] < 100 {
		t.Errorf("rows per source: %v, want hundreds of both", counts)
	}
}

// A ragged file: rows that lack the back are refused when its columns are
// asked for, and are read when only the seat is.
func TestRecordingOfRaggedRows(t *testing.T) {
	c := Delimited{Separator: ",", Time: TimeColumn{Column: -1, Period: 90 * time.Millisecond}, Channels: columns(0, 11)}
	b := recorded.Text(t, "seat-drives/user1_s1.csv")
	seat := decode(newRows(t, c), b)
	if len(seat.bads) > 0 || len(seat.frames) < 1000 {
		t.Errorf("seat: %d frames, %d refused", len(seat.frames), len(seat.bads))
	}
	c.Columns = 32
	both := decode(newRows(t, c), b)
	if len(both.bads) == 0 || len(both.frames)+len(both.bads) != len(seat.frames) {
		t.Errorf("32 columns: %d frames, %d refused, of %d rows", len(both.frames), len(both.bads), len(seat.frames))
	}
	for _, bad := range both.bads {
		if bad.Reason != BadFields {
			t.Fatalf("refused for another reason: %+v", bad)
		}
	}
}

// Soles at 100 a second, tabs and "\r\n".
func TestRecordingOfWalking(t *testing.T) {
	r := decode(newRows(t, Delimited{Separator: "\t", Time: TimeColumn{As: InSeconds}, Channels: columns(1, 18)}),
		recorded.Text(t, "walking/GaCo01_01.txt"))
	if len(r.bads) > 0 || len(r.frames) < 10_000 {
		t.Fatalf("%d frames, %d refused", len(r.frames), len(r.bads))
	}
	if got, want := r.frames[71].Wall, at(0.71); got != want {
		t.Errorf("row 71 is at %v, want %v", got, want)
	}
	if got, want := r.frames[72].Wall, at(0.7199); got != want { // as the file has it
		t.Errorf("row 72 is at %v, want %v", got, want)
	}
}

// A bed as a logger wrote it comes out the same over a packed port.
func TestRecordingOfBedOverPacked(t *testing.T) {
	c := Delimited{Separator: "\t", Time: TimeColumn{Column: -1, Period: time.Second}, Channels: columns(0, 2047)}
	rows := decode(newRows(t, c), recorded.Text(t, "bed-postures/S1/1.txt"))
	if len(rows.bads) > 0 || len(rows.frames) < 30 {
		t.Fatalf("%d frames, %d refused: %+v", len(rows.frames), len(rows.bads), rows.bads)
	}
	var wire []byte
	for _, f := range rows.frames {
		wire = append(wire, mustWire(&f, U12)...)
	}
	packed := decode(NewPacked(), wire)
	if len(packed.frames) != len(rows.frames) || len(packed.bads) > 0 {
		t.Fatalf("%d of %d frames came through, %d refused", len(packed.frames), len(rows.frames), len(packed.bads))
	}
	for i, f := range packed.frames {
		if diff(rows.frames[i].Readings, f.Readings) != "" {
			t.Fatalf("frame %d changed on the way", i)
		}
	}
}
