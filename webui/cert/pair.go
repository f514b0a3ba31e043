package cert

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// mostBytes is the longest file that is read: a certificate with a dozen of those that
// vouch for it has a tenth of it.
const mostBytes = 1 << 20

// Read reads a certificate and its key. The error says which file is wrong, and what
// would be right; a certificate that has ended is none.
func Read(certificate, key string) (*tls.Certificate, error) {
	c, err := contents("certificate", certificate)
	if err != nil {
		return nil, err
	}
	k, err := contents("key", key)
	if err != nil {
		return nil, err
	}
	return pair(certificate, key, c, k)
}

// pair makes out what two files hold.
func pair(certificate, key string, c, k []byte) (*tls.Certificate, error) {
	mode, err := modeOf(key)
	if err != nil {
		return nil, err
	}
	if mode&0o007 != 0 {
		return nil, fmt.Errorf("key %s: every account of this machine may use it (mode %04o): chmod 0600 it, and make another if somebody may have it", key, mode)
	}
	if block := first(c, "CERTIFICATE"); block == nil {
		return nil, fmt.Errorf("certificate %s: there is no PEM block CERTIFICATE in it", certificate)
	} else if _, err := x509.ParseCertificate(block.Bytes); err != nil {
		return nil, fmt.Errorf("certificate %s: it cannot be read: %w", certificate, err)
	}
	if first(k, "PRIVATE KEY") == nil {
		return nil, fmt.Errorf("key %s: there is no PEM block PRIVATE KEY in it, or one that asks for a password", key)
	}
	both, err := tls.X509KeyPair(c, k)
	switch {
	case err == nil:
		return &both, nil
	case strings.Contains(err.Error(), "does not match"):
		return nil, fmt.Errorf("key %s is not that of certificate %s: give two files that were made together", key, certificate)
	}
	return nil, fmt.Errorf("certificate %s with key %s: %w", certificate, key, err)
}

// first finds the first block of a kind: "PRIVATE KEY" is any key that is not locked.
func first(b []byte, kind string) *pem.Block {
	for {
		var block *pem.Block
		if block, b = pem.Decode(b); block == nil {
			return nil
		}
		if block.Type == kind || kind == "PRIVATE KEY" && strings.HasSuffix(block.Type, " "+kind) && !strings.HasPrefix(block.Type, "ENCRYPTED") {
			return block
		}
	}
}

// contents reads a file that people gave.
func contents(what, path string) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err == nil && !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s %s: it is no file", what, path)
	case err == nil && info.Size() > mostBytes:
		return nil, fmt.Errorf("%s %s: it has %d bytes: give a PEM file of at most %d", what, path, info.Size(), mostBytes)
	}
	var b []byte
	if err == nil {
		b, err = os.ReadFile(path)
	}
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", what, path, cause(err))
	}
	return b, nil
}

func modeOf(path string) (fs.FileMode, error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, fmt.Errorf("key %s: %w", path, cause(err))
	}
	return info.Mode().Perm(), nil
}

// cause drops the path from err, which is named already.
func cause(err error) error {
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		return e.Err
	}
	return err
}

// Fingerprint is what people compare: SHA-256, in pairs of hexadecimal digits.
func Fingerprint(c *x509.Certificate) string {
	sum := sha256.Sum256(c.Raw)
	return strings.ReplaceAll(strings.TrimSpace(fmt.Sprintf("% X", sum[:])), " ", ":")
}

// Names are those that a certificate is good for.
func Names(c *x509.Certificate) []string {
	out := append([]string(nil), c.DNSNames...)
	for _, ip := range c.IPAddresses {
		out = append(out, ip.String())
	}
	return out
}

// ended says why a certificate is not good at this time; "" if it is.
func ended(file string, c *x509.Certificate, now time.Time) string {
	switch {
	case now.Before(c.NotBefore):
		return fmt.Sprintf("certificate %s is good from %s on only: is the clock of this machine right?", file, day(c.NotBefore))
	case now.After(c.NotAfter):
		return fmt.Sprintf("certificate %s has ended on %s, and browsers refuse the pages: make or ask for another; it is taken without a restart", file, day(c.NotAfter))
	}
	return ""
}

func day(t time.Time) string { return t.UTC().Format("2006-01-02") }

func writeKey(path string, key *ecdsa.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("key %s: %w", path, err)
	}
	return writePEM(path, "PRIVATE KEY", der, 0o600)
}

// writePEM puts a whole new file in the place of an old one.
func writePEM(path, kind string, der []byte, mode fs.FileMode) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // of mode 0600
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, cause(err))
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
			err = fmt.Errorf("writing %s: %w", path, cause(err))
		}
	}()
	if err = pem.Encode(f, &pem.Block{Type: kind, Bytes: der}); err != nil {
		return err
	}
	if err = f.Chmod(mode); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// Pin is for a client on the daemon's own machine: it takes the one certificate that a
// file has now, whatever name it was asked under.
func Pin(file string) (*tls.Config, error) {
	b, err := contents("certificate", file)
	if err != nil {
		return nil, err
	}
	block := first(b, "CERTIFICATE")
	if block == nil {
		return nil, fmt.Errorf("certificate %s: there is no PEM block CERTIFICATE in it", file)
	}
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // in place of which:
		VerifyConnection: func(s tls.ConnectionState) error {
			if !bytes.Equal(s.PeerCertificates[0].Raw, block.Bytes) {
				return fmt.Errorf("it has not the certificate of %s", file)
			}
			return nil
		},
	}, nil
}
