package cert

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"weald/ingest/tcp/wire/pair"
)

// The files in the folder of an Authority.
const (
	CAFile  = "ca.pem"     // what clients have to trust
	CAKey   = "ca.key"     // which leaves this folder for nowhere
	File    = "server.pem" // what the pages are served with
	KeyFile = "server.key"
)

// For how long certificates are good.
const (
	caLife = 10 * 365 * 24 * time.Hour // each client is given it by hand
	Life   = 90 * 24 * time.Hour       // of one that renews itself

	// LongestLife is what clients take of a CA that people installed
	// (support.apple.com/103769, from memory: 825 days, others take more).
	LongestLife = 825 * 24 * time.Hour

	// early is by how much a certificate begins before it is made: the clocks of
	// clients are not that of this machine.
	early = time.Hour
)

// An Authority is a CA in a folder of its own.
type Authority struct {
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// own are the names under which this machine reaches itself; every certificate has
// them.
var own = []string{"localhost", "127.0.0.1", "::1"}

// Found makes a CA that can vouch for names (host names and addresses), for what is
// below such a host name, and for this machine under its own names; and for nothing
// else. A CA that the folder has already is replaced, and nobody trusts the new one
// yet.
func Found(dir string, names []string, now time.Time) (*Authority, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("folder for the CA: %w", err)
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("key of the CA: %w", err)
	}
	hosts, addresses := split(names)
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: "weald CA of " + hosts[0] + now.UTC().Format(" 2006-01-02")},
		NotBefore: now.Add(-early), NotAfter: now.Add(caLife),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
		// RFC 5280, section 4.2.1.10. As there is at least one of either kind, any
		// other name of that kind is excluded.
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: hosts, PermittedIPRanges: single(addresses),
	}
	der, err := sign(template, template, key, key)
	if err != nil {
		return nil, fmt.Errorf("CA: %w", err)
	}
	// The key first: a certificate without its key would be found again.
	if err := pair.WriteKey(filepath.Join(dir, CAKey), key); err != nil {
		return nil, err
	}
	if err := pair.Write(filepath.Join(dir, CAFile), "CERTIFICATE", der, 0o644); err != nil {
		return nil, err
	}
	return Open(dir)
}

// Open returns the CA of a folder. One that has none is an error that wraps
// fs.ErrNotExist.
func Open(dir string) (*Authority, error) {
	key := filepath.Join(dir, CAKey)
	both, err := pair.Read(filepath.Join(dir, CAFile), key)
	if err != nil {
		return nil, fmt.Errorf("the CA in %s: %w", dir, err)
	}
	a := &Authority{dir: dir, cert: both.Leaf}
	ours, ok := both.PrivateKey.(*ecdsa.PrivateKey)
	if !ok || !a.cert.IsCA {
		return nil, fmt.Errorf("the CA in %s: it was not made by weald", dir)
	}
	if mode, err := pair.Mode(key); err != nil || mode&0o077 != 0 {
		return nil, fmt.Errorf("the key of the CA, %s: others may use it (mode %04o): chmod 0600 it; as they may have it already, weald tls make --new-ca", key, mode)
	}
	a.key = ours
	return a, nil
}

// Vouches says for which of names the CA was not made; nil if it may sign for all of
// them.
func (a *Authority) Vouches(names []string) error {
	hosts, addresses := split(names)
	var not []string
	for _, h := range hosts {
		if !slices.ContainsFunc(a.cert.PermittedDNSDomains, func(d string) bool { return h == d || strings.HasSuffix(h, "."+d) }) {
			not = append(not, h)
		}
	}
	for _, ip := range addresses {
		if !slices.ContainsFunc(a.cert.PermittedIPRanges, func(n *net.IPNet) bool { return n.Contains(ip) }) {
			not = append(not, ip.String())
		}
	}
	if len(not) > 0 {
		return fmt.Errorf("the CA in %s was not made for %s: weald tls make --new-ca makes one that is, which clients then have to trust anew", a.dir, strings.Join(not, ", "))
	}
	return nil
}

// Issue makes a certificate for names, with a key of its own, into the folder. It ends
// no later than the CA does.
func (a *Authority) Issue(names []string, now time.Time, life time.Duration) error {
	return a.issue(a.dir, names, now, life, x509.ExtKeyUsageServerAuth)
}

// IssuePeer is Issue for another machine, whose folder it fills with all that has to be
// brought there: the certificate, its key, and the CA's certificate. Such a machine may
// also show the certificate where it connects, as servers do that know each other by it.
func (a *Authority) IssuePeer(dir string, names []string, now time.Time, life time.Duration) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("folder for the certificate: %w", err)
	}
	if err := a.issue(dir, names, now, life, x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth); err != nil {
		return err
	}
	return pair.Write(filepath.Join(dir, CAFile), "CERTIFICATE", a.cert.Raw, 0o644)
}

func (a *Authority) issue(dir string, names []string, now time.Time, life time.Duration, uses ...x509.ExtKeyUsage) error {
	if err := a.Vouches(names); err != nil {
		return err
	}
	if !now.Before(a.cert.NotAfter) {
		return fmt.Errorf("the CA in %s has ended on %s: weald tls make --new-ca makes another", a.dir, day(a.cert.NotAfter))
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return fmt.Errorf("key of the certificate: %w", err)
	}
	template := &x509.Certificate{
		NotBefore: now.Add(-early), NotAfter: now.Add(min(life, LongestLife-early)),
		BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: uses,
	}
	template.DNSNames, template.IPAddresses = split(names)
	template.Subject.CommonName = template.DNSNames[0]
	if template.NotAfter.After(a.cert.NotAfter) {
		template.NotAfter = a.cert.NotAfter
	}
	der, err := sign(template, a.cert, key, a.key)
	if err != nil {
		return fmt.Errorf("certificate: %w", err)
	}
	// Whoever reads between the two sees a pair that does not fit, keeps the old one
	// and looks again.
	if err := pair.WriteKey(filepath.Join(dir, KeyFile), key); err != nil {
		return err
	}
	return pair.Write(filepath.Join(dir, File), "CERTIFICATE", der, 0o644)
}

// Ends is when the CA does.
func (a *Authority) Ends() time.Time { return a.cert.NotAfter }

// Fingerprint is what people compare: SHA-256, in pairs of hexadecimal digits.
func (a *Authority) Fingerprint() string { return Fingerprint(a.cert) }

// sign makes a certificate of template, vouched for by parent.
func sign(template, parent *x509.Certificate, key, by *ecdsa.PrivateKey) ([]byte, error) {
	// As no SerialNumber is given, a random one is made.
	return x509.CreateCertificate(rand.Reader, template, parent, &key.PublicKey, by)
}

// split tells host names from addresses, adds this machine's own after them, and drops
// what comes twice.
func split(names []string) (hosts []string, addresses []net.IP) {
	for _, n := range append(slices.Clone(names), own...) {
		ip := net.ParseIP(n)
		switch {
		case ip == nil && !slices.Contains(hosts, strings.ToLower(n)):
			hosts = append(hosts, strings.ToLower(n))
		case ip != nil && !slices.ContainsFunc(addresses, ip.Equal):
			addresses = append(addresses, ip)
		}
	}
	return hosts, addresses
}

// single are the ranges of one address each.
func single(addresses []net.IP) (out []*net.IPNet) {
	for _, ip := range addresses {
		if v4 := ip.To4(); v4 != nil {
			ip = v4
		}
		out = append(out, &net.IPNet{IP: ip, Mask: net.CIDRMask(8*len(ip), 8*len(ip))})
	}
	return out
}

var errNoNames = errors.New("for which names? Give those under which people ask for the pages, such as weald.larch.example or 10.0.0.5")
