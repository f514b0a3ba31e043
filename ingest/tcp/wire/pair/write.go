package pair

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// WriteKey writes a key for this account alone.
func WriteKey(path string, key *ecdsa.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("key %s: %w", path, err)
	}
	return Write(path, "PRIVATE KEY", der, 0o600)
}

// Write puts a whole new file with one PEM block in the place of an old one.
func Write(path, kind string, der []byte, mode fs.FileMode) (err error) {
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
