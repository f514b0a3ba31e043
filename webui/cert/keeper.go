package cert

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"weald/ingest/tcp/wire/pair"
)

// lookEvery is how soon new files count at the latest.
const lookEvery = 10 * time.Second

// Options say where a certificate is.
type Options struct {
	// Certificate and Key are PEM files that somebody else keeps; "" for Dir.
	Certificate, Key string

	// Dir is the folder of an Authority that is this daemon's to keep; what it has
	// not is made, for Names.
	Dir   string
	Names []string

	Now func() time.Time
	Log *slog.Logger // told of every certificate that is taken, and of what is wrong
}

// Files are the certificate's and its key's.
func (o *Options) Files() (certificate, key string) {
	if o.Dir != "" {
		return filepath.Join(o.Dir, File), filepath.Join(o.Dir, KeyFile)
	}
	return o.Certificate, o.Key
}

// A Keeper has the certificate that counts. Everybody may ask it.
type Keeper struct {
	Options

	held *pair.Held

	mu      sync.Mutex
	trouble string // guarded by mu; with the files, since the last look
}

// Keep takes a certificate. Where it cannot, there is nothing to serve pages with, and
// the error says what is wrong.
func Keep(o Options) (*Keeper, error) {
	certificate, key := o.Files()
	k := &Keeper{Options: o, held: pair.Hold(certificate, key)}
	if err := k.look(); err != nil {
		return nil, err
	}
	return k, nil
}

// Config is for a server. TLS 1.3 is taken where the client can, and of 1.2 only what
// RFC 9325, section 4.2, recommends: forward secrecy and authenticated encryption. Only
// HTTP/1.1 is spoken, in which a connection has one request at a time, so that what
// bounds connections bounds requests.
func (k *Keeper) Config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS12,
		CipherSuites: []uint16{
			tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256, tls.TLS_ECDHE_RSA_WITH_AES_128_GCM_SHA256,
			tls.TLS_ECDHE_ECDSA_WITH_AES_256_GCM_SHA384, tls.TLS_ECDHE_RSA_WITH_AES_256_GCM_SHA384,
			tls.TLS_ECDHE_ECDSA_WITH_CHACHA20_POLY1305_SHA256, tls.TLS_ECDHE_RSA_WITH_CHACHA20_POLY1305_SHA256,
		},
		NextProtos: []string{"http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			return k.current(), nil
		},
	}
}

func (k *Keeper) current() *tls.Certificate { return k.held.Now() }

// Run looks at the files every few seconds until ctx ends.
func (k *Keeper) Run(ctx context.Context) error {
	ticker := time.NewTicker(lookEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-ticker.C:
			k.Look()
		}
	}
}

// Look looks at the files now, and renews what is this daemon's to renew. What is wrong
// is Trouble, and the old certificate stays.
func (k *Keeper) Look() { _ = k.look() } // it is in Trouble

func (k *Keeper) look() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	err := k.take()
	said := k.trouble
	k.trouble = ""
	if err != nil {
		k.trouble = err.Error()
	} else {
		k.trouble = ended(k.file(), k.current().Leaf, k.Now())
	}
	if k.trouble != "" && k.trouble != said && k.current() != nil {
		k.Log.Error("the certificate of the pages", slog.String("trouble", k.trouble), slog.String("do", "make it anew: weald tls, or whoever makes certificates; new files count without a start"))
	}
	return err
}

func (k *Keeper) file() string { c, _ := k.Files(); return c }

// take renews what is due, and reads files that have changed.
func (k *Keeper) take() error {
	if k.Dir != "" {
		if err := k.renew(); err != nil {
			return err
		}
	}
	taken, err := k.held.Look()
	if taken {
		now := k.current().Leaf
		k.Log.Info("the pages have a certificate", slog.Any("for", Names(now)), slog.String("until", day(now.NotAfter)))
	}
	return err
}

// renew makes what an Authority's folder lacks, or what two thirds of its life have
// passed of.
func (k *Keeper) renew() error {
	_, err := Renew(k.Dir, k.Names, k.Now(), Life, false)
	return err
}

// Renew sees to it that the folder of an Authority has a certificate for names: a CA is
// made where there is none, and a certificate where there is none, where it is not for
// these names, where it cannot be read, where a third of its life or less is left, and
// where anyway says so. It reports whether it made one.
func Renew(dir string, names []string, now time.Time, life time.Duration, anyway bool) (bool, error) {
	if len(names) == 0 {
		return false, errNoNames
	}
	if c, err := pair.Read(filepath.Join(dir, File), filepath.Join(dir, KeyFile)); err == nil && !anyway && !due(c, names, now) {
		return false, nil
	}
	a, err := Open(dir)
	if errors.Is(err, fs.ErrNotExist) {
		a, err = Found(dir, names, now)
	}
	if err != nil {
		return false, err
	}
	return true, a.Issue(names, now, life)
}

// due reports whether a certificate has to be made anew.
func due(c *tls.Certificate, names []string, now time.Time) bool {
	for _, n := range names {
		if c.Leaf.VerifyHostname(n) != nil {
			return true
		}
	}
	life := c.Leaf.NotAfter.Sub(c.Leaf.NotBefore)
	return now.Before(c.Leaf.NotBefore) || c.Leaf.NotAfter.Sub(now) <= life/3
}

// Ends is when the certificate that is served does.
func (k *Keeper) Ends() time.Time { return k.current().Leaf.NotAfter }

// Trouble says what is wrong with the files or with the certificate that is served; ""
// if nothing is known to be.
func (k *Keeper) Trouble() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.trouble
}

// soon is with how much left people should know that a certificate ends, where nobody
// renews it by itself: an own authority does with a third of 90 days left.
const soon = 21 * 24 * time.Hour

// Check looks at what a daemon would be served with, and changes nothing. It returns a
// sentence on how it is, and one for each thing that is wrong.
func Check(o Options) (fine string, wrongs []string) {
	now := o.Now()
	if o.Dir != "" {
		a, err := Open(o.Dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return fmt.Sprintf("a CA and a certificate are made in %s when the daemon starts", o.Dir), nil
		case err != nil:
			return "", []string{err.Error()}
		}
		if err := a.Vouches(o.Names); err != nil {
			wrongs = append(wrongs, err.Error())
		}
		if left := a.Ends().Sub(now); left < LongestLife {
			wrongs = append(wrongs, fmt.Sprintf("the CA in %s ends on %s: weald tls make --new-ca makes another, which clients then have to trust", o.Dir, day(a.Ends())))
		}
	}
	file, key := o.Files()
	c, err := pair.Read(file, key)
	if err != nil {
		return "", append(wrongs, err.Error())
	}
	if e := ended(file, c.Leaf, now); e != "" {
		wrongs = append(wrongs, e)
	} else if left := c.Leaf.NotAfter.Sub(now); left < soon {
		wrongs = append(wrongs, fmt.Sprintf("certificate %s ends in %d days, on %s", file, left/(24*time.Hour), day(c.Leaf.NotAfter)))
	}
	for _, n := range o.Names {
		if c.Leaf.VerifyHostname(n) != nil {
			wrongs = append(wrongs, fmt.Sprintf("certificate %s is not for %s, under which people ask for the pages", file, n))
		}
	}
	return fmt.Sprintf("certificate %s is good until %s, for %d days", file, day(c.Leaf.NotAfter), c.Leaf.NotAfter.Sub(now)/(24*time.Hour)), wrongs
}
