package pair

import (
	"bytes"
	"crypto/tls"
	"sync"
)

// A Held pair is what two files had when they were last in order. Everybody may ask it.
type Held struct {
	certificate, key string

	mu   sync.Mutex
	now  *tls.Certificate // guarded by mu, as is all below; nil before the first Look
	c, k []byte           // what the files held then
}

// Hold returns a pair that was not looked at.
func Hold(certificate, key string) *Held { return &Held{certificate: certificate, key: key} }

// Look takes what the files have now, and reports whether that is new. Its error says what
// is wrong with them, and the pair before them stays.
func (h *Held) Look() (taken bool, err error) {
	c, err := contents("certificate", h.certificate)
	if err != nil {
		return false, err
	}
	k, err := contents("key", h.key)
	if err != nil {
		return false, err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.now != nil && bytes.Equal(c, h.c) && bytes.Equal(k, h.k) {
		return false, nil
	}
	both, err := made(h.certificate, h.key, c, k)
	if err != nil {
		return false, err
	}
	h.now, h.c, h.k = both, c, k
	return true, nil
}

// Now returns the pair, nil before a Look that found one.
func (h *Held) Now() *tls.Certificate {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}
