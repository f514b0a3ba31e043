package password

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// The vectors are those of the reference implementation of argon2, file src/test.c,
// version 0x13, Argon2id. The vector of RFC 9106, section 5.3, has a secret and
// associated data, which the library does not take from its users; its own tests
// have it.
func TestReferenceVectors(t *testing.T) {
	h := NewHasher()
	for _, c := range []struct{ kept, text string }{
		{"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4", "password"},
		{"$argon2id$v=19$m=256,t=2,p=2$c29tZXNhbHQ$bQk8UB/VmZZF4Oo79iDXuL5/0ttZwg2f/5U52iv1cDc", "password"},
	} {
		if ok, err := h.Matches(t.Context(), c.kept, c.text); !ok || err != nil {
			t.Errorf("%s: %t %v", c.kept, ok, err)
		}
		if ok, _ := h.Matches(t.Context(), c.kept, "differentpassword"); ok {
			t.Errorf("%s: another password matches", c.kept)
		}
		if h.Current(c.kept) {
			t.Errorf("%s: has the parameters in use", c.kept)
		}
	}
}

func TestHashes(t *testing.T) {
	h := NewHasher()
	const text = "vier blaue Heringe"
	one, err := h.Hash(t.Context(), text)
	if err != nil {
		t.Fatal(err)
	}
	other, _ := h.Hash(t.Context(), text)
	if one == other || !strings.HasPrefix(one, "$argon2id$v=19$m=19456,t=2,p=1$") || !h.Current(one) {
		t.Errorf("%s and %s", one, other)
	}
	for kept, want := range map[string]bool{one: true, other: true, "": false, one[:len(one)-1]: false, "$2b$12$abc": false} {
		if ok, err := h.Matches(t.Context(), kept, text); ok != want || err != nil {
			t.Errorf("%q: %t %v", kept, ok, err)
		}
	}
	if ok, _ := h.Matches(t.Context(), one, text+" "); ok {
		t.Error("another text matches")
	}
	// Not even the hash of nothing matches what is not kept.
	if ok, _ := h.Matches(t.Context(), "", ""); ok {
		t.Error("an account that there is not lets in")
	}
}

func TestCheapOnesAreMadeAnew(t *testing.T) {
	cheap, h := Cheap(), NewHasher()
	kept, err := cheap.Hash(t.Context(), "vier blaue Heringe")
	if err != nil || h.Current(kept) || !cheap.Current(kept) {
		t.Errorf("%s %v", kept, err)
	}
	if ok, _ := h.Matches(t.Context(), kept, "vier blaue Heringe"); !ok {
		t.Error("one of other parameters does not match")
	}
}

func TestWhoWaitsForRoomMayLeave(t *testing.T) {
	h := NewHasher()
	h.slots <- struct{}{}
	h.slots <- struct{}{}
	ctx, cancel := context.WithCancelCause(t.Context())
	gone := errors.New("gone")
	cancel(gone)
	if _, err := h.Hash(ctx, "vier blaue Heringe"); !errors.Is(err, gone) {
		t.Errorf("%v", err)
	}
}

func TestWhatMayBeAPassword(t *testing.T) {
	for text, fine := range map[string]bool{
		"vier blaue Heringe": true, "äöü ÄÖÜ 12ßx": true, "correct horse battery": true, strings.Repeat("abcdef ", 30): true,
		"": false, "kurz": false, "abcdefghijk": false, "aaaaaaaaaaaaaaaa": false, "abababababab": false,
		strings.Repeat("abcdef ", 40): false, "Anna-Anna-12": false, "vier blaue\x00Heringe": false, "vier blaue\xff Heringe": false,
	} {
		err := Check(text, "anna-anna")
		if (err == nil) != fine {
			t.Errorf("%q: %v", text, err)
		}
		if err != nil && len(text) > 3 && strings.Contains(err.Error(), text) {
			t.Errorf("the error repeats %q", text)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4")
	f.Add("$argon2id$v=19$m=1,t=0,p=0$$")
	f.Fuzz(func(t *testing.T, kept string) {
		p, salt, sum, err := parse(kept)
		if err != nil {
			return
		}
		if p.memory > mostMemory || p.passes > mostPasses || p.lanes == 0 || len(sum) < saltBytes {
			t.Errorf("%q costs %+v", kept, p)
		}
		if again := p.text(salt, sum); again != kept {
			t.Errorf("%q is written as %q", kept, again)
		}
	})
}
