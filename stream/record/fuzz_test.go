package record

import (
	"bytes"
	"testing"
)

// FuzzDecode gives every decoder anything at all, with a checksum that is
// right: whatever is read is written again as what it was.
func FuzzDecode(f *testing.F) {
	for _, g := range goldens() {
		b, err := g.thing.Append(nil)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b[:len(b)-4])
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		b := seal(bytes.Clone(in), 0)
		again := func(thing interface{ Append([]byte) ([]byte, error) }) []byte {
			out, err := thing.Append(nil)
			if err != nil {
				t.Fatalf("what was read cannot be written: %v", err)
			}
			return out
		}
		if x, err := DecodeBlock(b); err == nil {
			if y, err := DecodeBlock(again(x)); err != nil || y.Number != x.Number || !y.Equal(x) {
				t.Fatalf("block changed: %v", err)
			}
		}
		if x, err := DecodeTicks(b); err == nil {
			if _, err := DecodeTicks(again(x)); err != nil {
				t.Fatalf("ticks changed: %v", err)
			}
		}
		if x, err := DecodeDocument(b); err == nil {
			if y, err := DecodeDocument(again(&x)); err != nil || !x.Equal(&y) {
				t.Fatalf("document changed: %v", err)
			}
		}
		if x, err := DecodeStretch(b); err == nil {
			if _, err := DecodeStretch(again(x)); err != nil {
				t.Fatalf("history changed: %v", err)
			}
		}
		_, _ = DecodeEntry(b)
		_, _ = DecodeSnapshot(b)
		_, _ = DecodeRetired(b)
		_, _ = DecodeProgress(b)
	})
}
