package wire

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"

	"weald/ingest/tcp/wire/pair"
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
		own, err := pair.Read(c.Certificate, c.Key)
		if err != nil {
			return nil, err
		}
		conf.Certificates = []tls.Certificate{*own}
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
