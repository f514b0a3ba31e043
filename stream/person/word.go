package person

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"math/big"
)

// A word is a code in text, and what takes its place. It is found where it stands for
// itself: K-07 is not in K-071 or AK-07, and it is in "K-07." and K-07-left.
type word struct{ code, with string }

// part reports whether a byte may be part of a longer word.
func part(b byte) bool {
	return b >= '0' && b <= '9' || b >= 'A' && b <= 'Z' || b >= 'a' && b <= 'z' || b >= 0x80
}

// in reports whether the word is in text.
func (w word) in(text []byte) bool { return !bytes.Equal(w.out(text), text) }

// out returns text with the other word. Codes have nothing in them that JSON escapes.
func (w word) out(text []byte) []byte {
	var done []byte
	from := 0
	for at := 0; ; {
		i := bytes.Index(text[at:], []byte(w.code))
		if i < 0 {
			break
		}
		i += at
		end := i + len(w.code)
		at = end
		if i > 0 && part(text[i-1]) && !escape(text[:i]) || end < len(text) && part(text[end]) {
			continue
		}
		done = append(append(done, text[from:i]...), w.with...)
		from = end
	}
	if done == nil {
		return text
	}
	return append(done, text[from:]...)
}

// escape reports whether text ends with an escape of JSON, such as \n or \u003c.
func escape(text []byte) bool {
	n := len(text)
	return n >= 2 && text[n-2] == '\\' || n >= 6 && text[n-6] == '\\' && text[n-5] == 'u'
}

// pseudonym makes a code at random that taken does not take.
func pseudonym(taken func(string) bool) (string, error) {
	for {
		n, err := rand.Int(rand.Reader, big.NewInt(1e6))
		if err != nil {
			return "", err
		}
		if code := fmt.Sprintf("X-%06d", n); !taken(code) {
			return code, nil
		}
	}
}

// Names reports whether text names a code.
func Names(text []byte, code string) bool { return word{code: code}.in(text) }
