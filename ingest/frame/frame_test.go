package frame

import "testing"

func TestBadInWords(t *testing.T) {
	for want, b := range map[string]Bad{
		"crc":                        {Reason: "crc"},
		"number: \"x\" is no number": {Reason: BadNumber, Detail: "\"x\" is no number"},
	} {
		if got := b.Error(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// All three are decoders.
var (
	_ Decoder = (*Line)(nil)
	_ Decoder = (*Packed)(nil)
	_ Decoder = (*Rows)(nil)
)
