package wire

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
)

// ClientTLS says how the side that dials makes sure whom it speaks with. Its
// zero value asks for TLS with what the system trusts.
type ClientTLS struct {
	// CA is a file of PEM certificates to trust instead of the system's.
	CA string

	// ServerName is the name that the peer's certificate must bear; empty for
	// the host of the address.
	ServerName string

	// Certificate and Key are PEM files with which this side shows who it is.
	// Both or neither.
	Certificate, Key string
}

// Config reads the files for a connection to address, a host:port. They are read for each connection, so a renewed
// certificate counts from the next one on.
func (c *ClientTLS) Config(address string) (*tls.Config, error) {
	conf := &tls.Config{ServerName: c.ServerName, MinVersion: tls.VersionTLS12}
	if conf.ServerName == "" {
		host, _, err := net.SplitHostPort(address)
		if err != nil {
			return nil, fmt.Errorf("%q is no host:port: %w", address, err)
		}
		conf.ServerName = host
	}
	if c.CA != "" {
		pool, err := pool(c.CA)
		if err != nil {
			return nil, err
		}
		conf.RootCAs = pool
	}
	if c.Certificate != "" || c.Key != "" {
		pair, err := keyPair(c.Certificate, c.Key)
		if err != nil {
			return nil, err
		}
		conf.Certificates = []tls.Certificate{pair}
	}
	return conf, nil
}

// ServerTLS says who the side that listens is.
type ServerTLS struct {
	// Certificate and Key are PEM files: the certificate with those that
	// vouch for it, and its key.
	Certificate, Key string

	// ClientCA is a file of PEM certificates. Where it is set, a peer must
	// show a certificate that one of them signed.
	ClientCA string
}

// Config reads the files. Its error names the file that is wrong.
func (s *ServerTLS) Config() (*tls.Config, error) {
	pair, err := keyPair(s.Certificate, s.Key)
	if err != nil {
		return nil, err
	}
	conf := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	if s.ClientCA != "" {
		if conf.ClientCAs, err = pool(s.ClientCA); err != nil {
			return nil, err
		}
		conf.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return conf, nil
}

func pool(file string) (*x509.CertPool, error) {
	pem, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("certificates to trust: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("certificates to trust: no PEM certificate in %s", file)
	}
	return pool, nil
}

func keyPair(certificate, key string) (tls.Certificate, error) {
	if certificate == "" || key == "" {
		return tls.Certificate{}, fmt.Errorf("a certificate needs its key and a key its certificate: certificate %q, key %q", certificate, key)
	}
	pair, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("certificate %s with key %s: %w", certificate, key, err)
	}
	return pair, nil
}
