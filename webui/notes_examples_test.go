package webui

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"weald/ingest/ble"
	"weald/ingest/frame"
)

// inHex writes bytes as a reader compares them: "01 2C".
func inHex(b []byte) string { return fmt.Sprintf("% X", b) }

func code(s string) string { return "`" + s + "`" }

// lineExample takes a line apart, field by field and byte by byte.
func lineExample(t *testing.T) string {
	f := frame.Frame{Kind: frame.Readings, Source: 3, Seq: 1042, Millis: 81250, Readings: []float64{512, math.NaN(), 498}}
	line, err := frame.AppendLine(nil, &f)
	if err != nil {
		t.Fatal(err)
	}
	star := strings.IndexByte(string(line), '*')
	fields := strings.SplitAfter(string(line[:star]), ",")
	meanings := []string{"version", "source 3", "scan 1042", "81,250 ms", "channel 0 reads 512", "channel 1: no reading", "channel 2 reads 498"}
	if len(fields) != len(meanings) {
		t.Fatalf("%q has %d fields", line, len(fields))
	}
	rows := [][]string{{"bytes", "text", "meaning"}}
	for i, field := range fields {
		rows = append(rows, []string{code(inHex([]byte(field))), code(field), meanings[i]})
	}
	rows = append(rows,
		[]string{code(inHex(line[star : star+3])), code(string(line[star : star+3])), "the XOR of all before the star"},
		[]string{code(inHex(line[star+3:])), "CR LF", "the end"})

	var sums strings.Builder
	sum := byte(0)
	const across = 13
	for from := 0; from < star; from += across {
		var chars, bytes, xors strings.Builder
		for _, c := range line[from:min(from+across, star)] {
			sum ^= c
			fmt.Fprintf(&chars, "  %c", c)
			fmt.Fprintf(&bytes, " %02X", c)
			fmt.Fprintf(&xors, " %02X", sum)
		}
		if from > 0 {
			sums.WriteString("\n")
		}
		fmt.Fprintf(&sums, "text%s\nbyte%s\nXOR %s\n", chars.String(), bytes.String(), xors.String())
	}
	return fmt.Sprintf("```text\n%s\n```\n\n%s\nThe XOR, from byte to byte:\n\n```text\n%s```\n",
		strings.TrimRight(string(line), "\r\n"), table(rows...), sums.String())
}

func packedFrame(t *testing.T) []byte {
	f := frame.Frame{Kind: frame.Readings, Source: 3, Seq: 1042, Millis: 81250, Readings: []float64{512, 498, 4095}}
	b, err := frame.AppendPacked(nil, &f, frame.U12)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A piece is some bytes of a frame and what they mean.
type piece struct {
	n       int
	meaning string
}

// takeApart writes a table of a frame's pieces, which must be all of it.
func takeApart(t *testing.T, b []byte, pieces []piece) string {
	rows := [][]string{{"offset", "bytes", "meaning"}}
	at := 0
	for _, p := range pieces {
		rows = append(rows, []string{fmt.Sprint(at), code(inHex(b[at : at+p.n])), p.meaning})
		at += p.n
	}
	if at != len(b) {
		t.Fatalf("%d bytes of %d are explained", at, len(b))
	}
	return table(rows...)
}

func packedExample(t *testing.T) string {
	b := packedFrame(t)
	pair := uint32(b[18]) | uint32(b[19])<<8 | uint32(b[20])<<16
	if pair != 512+498<<12 {
		t.Fatalf("the pair is %d", pair)
	}
	return takeApart(t, b, []piece{
		{1, "version 1"}, {1, "readings"}, {2, "source 3"}, {4, "frame 1042"}, {4, "81,250 ms"},
		{2, "from channel 0"}, {2, "3 readings"}, {1, "12 bits each"}, {1, "nothing follows, not kept"},
		{3, fmt.Sprintf("512 + 4096 × 498 = 0x%06X", pair)}, {2, "4095, the odd last one"},
		{4, fmt.Sprintf("CRC-32C, 0x%08X", binary.LittleEndian.Uint32(b[23:]))},
	})
}

// wireExample shows the same frame in COBS, run by run.
func wireExample(t *testing.T) string {
	wire := append(frame.AppendCOBS(nil, packedFrame(t)), 0)
	rows := [][]string{{"code", "piece", "meaning"}}
	for at := 0; wire[at] != 0; {
		n := int(wire[at])
		end := at + n
		meaning := fmt.Sprintf("%d bytes, then a zero", n-1)
		switch {
		case n == 1:
			meaning = "a zero at once"
		case n == 2:
			meaning = "1 byte, then a zero"
		}
		if wire[end] == 0 {
			meaning = fmt.Sprintf("the last %d bytes", n-1)
		}
		bytes := ""
		if n > 1 {
			bytes = code(inHex(wire[at+1 : end]))
		}
		rows = append(rows, []string{code(inHex(wire[at : at+1])), bytes, meaning})
		at = end
	}
	rows = append(rows, []string{code("00"), "", "the end of the frame"})
	half := (len(wire) + 1) / 2
	return fmt.Sprintf("The frame above, as it goes over the wire:\n\n```text\n%s\n%s\n```\n\n%s", inHex(wire[:half]), inHex(wire[half:]), table(rows...))
}

func statusExample(t *testing.T) string {
	f := frame.Frame{Kind: frame.Status, Source: 3, Seq: 1043, Millis: 81300,
		Health: frame.Health{BatteryMV: 3712, BatteryPercent: 41, Celsius: 24, UptimeS: 5025, Firmware: "mat 1.2"}}
	b, err := frame.AppendPacked(nil, &f, 0)
	if err != nil {
		t.Fatal(err)
	}
	return takeApart(t, b, []piece{
		{1, "version 1"}, {1, "status"}, {2, "source 3"}, {4, "frame 1043"}, {4, "81,300 ms"}, {6, "always 0"},
		{2, "3,712 mV"}, {1, "41 %"}, {1, "24 °C"}, {4, "5,025 s"}, {1, "7 bytes of name"}, {7, "mat 1.2"},
		{4, fmt.Sprintf("CRC-32C, 0x%08X", binary.LittleEndian.Uint32(b[len(b)-4:]))},
	})
}

func bleExample() string {
	return "- service " + code(ble.ServiceUUID) + "\n- characteristic for frames " + code(ble.FramesUUID) + "\n"
}
