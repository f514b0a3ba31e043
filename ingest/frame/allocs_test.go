package frame

import (
	"slices"
	"testing"
)

// A bridge runs for weeks: what it sends all day must leave no garbage, in
// frames or in refusals, whole or in pieces.
func TestSteadyPathAllocatesNothing(t *testing.T) {
	line, err := AppendLine(nil, matScan(512, 1, 4095))
	if err != nil {
		t.Fatal(err)
	}
	mat := matScan(2048, 0.4, 4095)
	status := &Frame{Kind: Status, Health: Health{Firmware: "demo-1.0"}}
	wire := slices.Concat(mustWire(mat, U12), mustWire(mat, U16), mustWire(status, 0))
	for _, c := range []struct {
		name string
		d    Decoder
		in   []byte
	}{
		{"line", NewLine(), line},
		{"line, refused", NewLine(), withByte(line, 10, 'x')},
		{"packed", NewPacked(), wire},
		{"packed, refused", NewPacked(), withByte(wire, 40, 0xFE)},
	} {
		s := &sink{}
		n := testing.AllocsPerRun(100, func() {
			c.d.Feed(c.in[:7], s)
			c.d.Feed(c.in[7:100], s)
			c.d.Feed(c.in[100:], s)
		})
		if n != 0 {
			t.Errorf("%s: %v allocations a run", c.name, n)
		}
		if s.frames+s.bad < 100 {
			t.Errorf("%s: only %d frames and %d refusals came out", c.name, s.frames, s.bad)
		}
	}
}
