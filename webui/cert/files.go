package cert

import (
	"bytes"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"strings"
	"time"

	"weald/ingest/tcp/wire/pair"
)

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
		return fmt.Sprintf("certificate %s has ended on %s, and who connects refuses it: make or ask for another; it is taken without a restart", file, day(c.NotAfter))
	}
	return ""
}

func day(t time.Time) string { return t.UTC().Format("2006-01-02") }

// Pin is for a client on the daemon's own machine: it takes the one certificate that a
// file has now, whatever name it was asked under.
func Pin(file string) (*tls.Config, error) {
	leaf, err := pair.Leaf(file)
	if err != nil {
		return nil, err
	}
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // in place of which:
		VerifyConnection: func(s tls.ConnectionState) error {
			if !bytes.Equal(s.PeerCertificates[0].Raw, leaf) {
				return fmt.Errorf("it has not the certificate of %s", file)
			}
			return nil
		},
	}, nil
}
