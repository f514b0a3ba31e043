package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
)

// A plain error says for people what the error under it says for programs.
type plain struct {
	text  string
	cause error
}

func (p *plain) Error() string { return p.text }
func (p *plain) Unwrap() error { return p.cause }

// Plain says text for people and keeps cause for errors.Is and errors.As.
func Plain(cause error, format string, args ...any) error {
	return &plain{text: fmt.Sprintf(format, args...), cause: cause}
}

// noDial explains why address could not be reached.
func noDial(address string, err error) error {
	if dns, ok := errors.AsType[*net.DNSError](err); ok {
		if dns.IsNotFound {
			return Plain(err, "there is no host %q: is its name right?", dns.Name)
		}
		return Plain(err, "the name of host %q could not be looked up: %s", dns.Name, dns.Err)
	}
	if addr, ok := errors.AsType[*net.AddrError](err); ok {
		return Plain(err, "%q is no host:port: %s", address, addr.Err)
	}
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return Plain(err, "%s refuses connections: is it running, and is the port right?", address)
	case timeout(err):
		return Plain(err, "%s does not answer: is it switched on and within reach?", address)
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return Plain(err, "there is no way to %s: is the network up?", address)
	}
	return fmt.Errorf("connecting to %s: %w", address, err)
}

// NoHandshake explains why no TLS came about with the peer.
func NoHandshake(peer string, err error) error {
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return Plain(err, "the certificate of %s is signed by nobody who is trusted here: name the CA file that signed it", peer)
	}
	if host, ok := errors.AsType[x509.HostnameError](err); ok {
		return Plain(err, "the certificate of %s is not for %q but for %s: set the server name", peer, host.Host, names(host.Certificate))
	}
	if invalid, ok := errors.AsType[x509.CertificateInvalidError](err); ok && invalid.Reason == x509.Expired {
		return Plain(err, "the certificate of %s is not valid at this time: it has expired, or a clock is wrong", peer)
	}
	if _, ok := errors.AsType[tls.RecordHeaderError](err); ok {
		return Plain(err, "%s does not speak TLS on this port", peer)
	}
	if alert, ok := refusal(err); ok {
		return Plain(err, "%s refused the TLS connection: %s", peer, alert)
	}
	switch {
	case timeout(err):
		return Plain(err, "%s began no TLS within %v", peer, Patience)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, syscall.ECONNRESET):
		return Plain(err, "%s ended the connection during the TLS handshake: does it speak TLS on this port?", peer)
	}
	return fmt.Errorf("TLS with %s: %w", peer, err)
}

// Lost explains why a read or a write over a connection to peer went wrong.
// The end of the input, with or without a farewell in TLS, is io.EOF itself.
func Lost(peer string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return io.EOF
	case errors.Is(err, os.ErrDeadlineExceeded):
		return Plain(err, "%s said nothing for too long", peer)
	case errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE):
		return Plain(err, "%s broke the connection off", peer)
	case errors.Is(err, syscall.ETIMEDOUT), errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return Plain(err, "%s no longer answers: has it lost its power or its network?", peer)
	case errors.Is(err, net.ErrClosed):
		return fmt.Errorf("%s: %w", peer, os.ErrClosed)
	}
	if alert, ok := refusal(err); ok {
		return Plain(err, "%s refused the TLS connection: %s", peer, alert)
	}
	return fmt.Errorf("%s: %w", peer, err)
}

// refusal returns what the peer's TLS complained of.
func refusal(err error) (string, bool) {
	op, ok := errors.AsType[*net.OpError](err)
	if !ok || op.Op != "remote error" { // crypto/tls marks the peer's alerts so
		return "", false
	}
	return strings.TrimPrefix(op.Err.Error(), "tls: "), true
}

func timeout(err error) bool {
	t, ok := errors.AsType[net.Error](err)
	return ok && t.Timeout() || errors.Is(err, context.DeadlineExceeded)
}

// names lists whom a certificate is for.
func names(c *x509.Certificate) string {
	all := append([]string(nil), c.DNSNames...)
	for _, ip := range c.IPAddresses {
		all = append(all, ip.String())
	}
	if len(all) == 0 {
		return "nobody"
	}
	return strings.Join(all, ", ")
}
