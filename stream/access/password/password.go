package password

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// The parameters, those that the OWASP Password Storage Cheat Sheet asks for at least:
// 19 MiB, two passes, one lane. RFC 9106, section 4, recommends 64 MiB, three passes
// and four lanes where memory is short; a small machine that judges readings beside it
// has not that much to give to everybody who knocks. Salt and hash are as long as the
// RFC recommends there: 128 and 256 bits.
const (
	memory = 19 << 10 // KiB
	passes = 2
	lanes  = 1

	saltBytes = 16
	hashBytes = 32
)

// How long a password may be: OWASP ASVS 5.0 (6.2.1) asks for 8 and recommends 15;
// that guesses are few lets 12 be enough. No kinds of characters are asked for, as
// there and in NIST SP 800-63B.
const (
	Shortest = 12  // characters
	Longest  = 256 // bytes
)

// Check says why a text cannot be the password of an account with a name; nil if it
// can. The error never has the password in it.
func Check(text, name string) error {
	n := utf8.RuneCountInString(text)
	kinds := map[rune]bool{}
	for _, r := range strings.ToLower(text) {
		kinds[r] = true
	}
	switch {
	case !utf8.ValidString(text) || strings.ContainsFunc(text, unicode.IsControl):
		return errors.New("the password has characters that cannot be typed")
	case n < Shortest:
		return fmt.Errorf("the password has %d characters: give at least %d; some words that do not belong together are easy to keep in mind", n, Shortest)
	case len(text) > Longest:
		return fmt.Errorf("the password has more than %d bytes", Longest)
	case len(kinds) < 5:
		return errors.New("the password repeats few characters: others would guess it")
	case name != "" && strings.Contains(strings.ToLower(text), strings.ToLower(name)) && n < Shortest+utf8.RuneCountInString(name):
		return errors.New("the password is little more than the account's name: others would guess it")
	}
	return nil
}

// A Hasher hashes passwords, a few at a time: each takes 19 MiB and a core for a while.
type Hasher struct {
	slots chan struct{}
	costs params
}

// NewHasher returns one that hashes two at a time.
func NewHasher() *Hasher { return &Hasher{make(chan struct{}, 2), params{memory, passes, lanes}} }

// Cheap returns one for tests: what it makes costs next to nothing to guess.
func Cheap() *Hasher { return &Hasher{make(chan struct{}, 2), params{64, 1, 1}} }

// Hash returns what is kept of a password. It waits until there is room; its error is
// the context's cause.
func (h *Hasher) Hash(ctx context.Context, text string) (string, error) {
	salt := make([]byte, saltBytes)
	_, _ = rand.Read(salt) // never fails
	p := h.costs
	sum, err := h.sum(ctx, text, salt, p, hashBytes)
	if err != nil {
		return "", err
	}
	return p.text(salt, sum), nil
}

// Matches reports whether a password is the one of which kept is. What is kept may be
// "", that of an account that there is not, or damaged: that takes as long, and does
// not match.
func (h *Hasher) Matches(ctx context.Context, kept, text string) (bool, error) {
	p, salt, want, err := parse(kept)
	known := err == nil
	if !known {
		p, salt, want = h.costs, make([]byte, saltBytes), make([]byte, hashBytes)
	}
	got, err := h.sum(ctx, text, salt, p, len(want))
	return err == nil && subtle.ConstantTimeCompare(got, want) == 1 && known, err
}

// Current reports whether what is kept was made with the parameters that are now in use.
func (h *Hasher) Current(kept string) bool {
	p, _, sum, err := parse(kept)
	return err == nil && p == h.costs && len(sum) == hashBytes
}

func (h *Hasher) sum(ctx context.Context, text string, salt []byte, p params, n int) ([]byte, error) {
	select {
	case h.slots <- struct{}{}:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	defer func() { <-h.slots }()
	return argon2.IDKey([]byte(text), salt, p.passes, p.memory, p.lanes, uint32(n)), nil
}

// params are the costs of a hash.
type params struct {
	memory, passes uint32
	lanes          uint8
}

var coding = base64.RawStdEncoding.Strict()

func (p params) text(salt, sum []byte) string {
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, p.memory, p.passes, p.lanes, coding.EncodeToString(salt), coding.EncodeToString(sum))
}

var errForm = errors.New("this is no hash of a password by argon2id")

// What a hash may cost: a record that somebody has tampered with must not stop the
// daemon.
const (
	mostMemory = 1 << 20 // KiB
	mostPasses = 64
	mostLanes  = 16
	mostBytes  = 256
)

// parse is the inverse of text.
func parse(kept string) (p params, salt, sum []byte, err error) {
	parts := strings.Split(kept, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != "v="+strconv.Itoa(argon2.Version) {
		return p, nil, nil, errForm
	}
	costs := strings.Split(parts[3], ",")
	if len(costs) != 3 {
		return p, nil, nil, errForm
	}
	var n [3]uint64
	for i, key := range []string{"m=", "t=", "p="} {
		text, ok := strings.CutPrefix(costs[i], key)
		if n[i], err = strconv.ParseUint(text, 10, 32); err != nil || !ok || strconv.FormatUint(n[i], 10) != text {
			return p, nil, nil, errForm
		}
	}
	if strings.ContainsAny(kept, "\r\n") { // which decoding would pass over
		return p, nil, nil, errForm
	}
	salt, errSalt := coding.DecodeString(parts[4])
	sum, errSum := coding.DecodeString(parts[5])
	switch {
	case errSalt != nil, errSum != nil, len(salt) < 8 || len(salt) > mostBytes, len(sum) < saltBytes || len(sum) > mostBytes,
		n[2] < 1 || n[2] > mostLanes, n[1] < 1 || n[1] > mostPasses, n[0] < 8*n[2] || n[0] > mostMemory:
		return p, nil, nil, errForm
	}
	return params{uint32(n[0]), uint32(n[1]), uint8(n[2])}, salt, sum, nil
}
