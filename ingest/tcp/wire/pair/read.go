package pair

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// mostBytes is the longest file that is read: a certificate with a dozen of those that
// vouch for it has a tenth of it.
const mostBytes = 1 << 20

// Read reads a certificate and its key. The error says which file is wrong, and what
// would be right. Whether the certificate is good at this time is not asked.
func Read(certificate, key string) (*tls.Certificate, error) {
	if certificate == "" || key == "" {
		return nil, fmt.Errorf("a certificate needs its key and a key its certificate: certificate %q, key %q", certificate, key)
	}
	c, err := contents("certificate", certificate)
	if err != nil {
		return nil, err
	}
	k, err := contents("key", key)
	if err != nil {
		return nil, err
	}
	return made(certificate, key, c, k)
}

// made makes out what two files hold.
func made(certificate, key string, c, k []byte) (*tls.Certificate, error) {
	if err := Closed("key", key); err != nil {
		return nil, err
	}
	if block := first(c, "CERTIFICATE"); block == nil {
		return nil, noCertificate(certificate)
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

// Closed says of a file with a secret that every account of the machine may read it; nil if
// only this one and its group may. What says in the error what it is.
func Closed(what, path string) error {
	mode, err := Mode(path)
	if err == nil && mode&0o007 != 0 {
		err = fmt.Errorf("%s %s: every account of this machine may use it (mode %04o): chmod 0600 it, and make another if somebody may have it", what, path, mode)
	}
	return err
}

// Mode returns who may do what with a key.
func Mode(path string) (fs.FileMode, error) {
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

// Leaf reads the certificate of a file, without those that vouch for it, in DER.
func Leaf(file string) ([]byte, error) {
	b, err := contents("certificate", file)
	if err != nil {
		return nil, err
	}
	block := first(b, "CERTIFICATE")
	if block == nil {
		return nil, noCertificate(file)
	}
	return block.Bytes, nil
}

func noCertificate(file string) error {
	return fmt.Errorf("certificate %s: there is no PEM block CERTIFICATE in it", file)
}
