package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"weald/config"
	"weald/webui/api"
)

// settings let people work on the configuration file of a daemon from its pages. The
// file stays the truth: what is applied is written to it first.
type settingsFile struct{ d *daemon }

// Look implements api.Configuration.
func (s settingsFile) Look() api.ConfigFile {
	t := s.d.now()
	f := api.ConfigFile{Path: t.config.File(), InForce: t.config.Text, Version: t.version(), Faults: []api.ConfigFault{}}
	b, err := os.ReadFile(t.config.File())
	if err != nil {
		f.Faults = []api.ConfigFault{{Text: plainly(err)}}
	} else {
		f.Text, f.Seal = string(b), sealOf(b)
		_, found := config.Parse(t.config.Path, b)
		f.Faults = api.ConfigFaults(found)
	}
	f.Locked = locked(t.config.File())
	return f
}

// Check implements api.Configuration.
func (s settingsFile) Check(text string) api.Checked {
	t := s.d.now()
	out := api.Checked{Faults: []api.ConfigFault{}, Changes: []string{}, Restart: []string{}}
	c, found := config.Parse(t.config.Path, []byte(text))
	if found != nil {
		out.Faults = api.ConfigFaults(found)
		return out
	}
	out.Changes = changes(t.config, c)
	if err := fixed(t.config, c); err != nil {
		out.Restart = strings.Split(err.Error(), "\n")
	}
	return out
}

// Apply implements api.Configuration.
func (s settingsFile) Apply(text *string, seal, who string) (api.Applied, error) {
	d := s.d
	d.reloads.Lock()
	defer d.reloads.Unlock()
	old := d.now()
	path := old.config.File()
	if text == nil {
		c, found := config.Load(old.config.Path)
		if found != nil {
			return api.Applied{}, found
		}
		return s.apply(old, c, who)
	}
	c, found := config.Parse(old.config.Path, []byte(*text))
	if found != nil {
		return api.Applied{}, found
	}
	if err := fixed(old.config, c); err != nil {
		return api.Applied{}, err
	}
	was, err := os.ReadFile(path)
	switch {
	case err != nil:
		return api.Applied{}, fmt.Errorf("the file cannot be read: %w", err)
	case sealOf(was) != seal:
		return api.Applied{}, api.ErrFileChanged
	}
	if err := rewrite(path, []byte(*text)); err != nil {
		return api.Applied{}, fmt.Errorf("the file cannot be written: %w", err)
	}
	done, err := s.apply(old, c, who)
	if err != nil {
		err = errors.Join(err, rewrite(path, was))
	}
	return done, err
}

func (s settingsFile) apply(old *reign, c *config.Config, who string) (api.Applied, error) {
	if err := s.d.apply(c, who); err != nil {
		return api.Applied{}, err
	}
	return api.Applied{Version: s.d.now().version(), Changes: changes(old.config, c)}, nil
}

func sealOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// changes says in words what one configuration says differently from an older one.
func changes(old, c *config.Config) []string {
	out := []string{}
	for _, d := range c.Since(old) {
		out = append(out, d.String())
	}
	return out
}

// locked says why a file cannot be replaced, "" if it can.
func locked(path string) string {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return plainly(err)
	}
	if err := unix.Access(real, unix.W_OK); err != nil {
		return fmt.Sprintf("%s is not for weald to write: %v", real, err)
	}
	if err := unix.Access(filepath.Dir(real), unix.W_OK); err != nil {
		return fmt.Sprintf("weald cannot put another file in its place in %s: %v", filepath.Dir(real), err)
	}
	return ""
}

func plainly(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return fmt.Sprintf("%s: %v", p.Path, p.Err)
	}
	return err.Error()
}

// rewrite puts another file in the place of one, with its permissions and, where that is
// allowed, its owner. Whoever reads it, or loses the power, has the one or the other.
func rewrite(path string, b []byte) (err error) {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return err
	}
	info, err := os.Stat(real)
	if err != nil {
		return err
	}
	if err := unix.Access(real, unix.W_OK); err != nil {
		return fmt.Errorf("%s: %w", real, err)
	}
	f, err := os.CreateTemp(filepath.Dir(real), ".weald-*.yaml")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if own, ok := info.Sys().(*syscall.Stat_t); ok {
		_ = f.Chown(int(own.Uid), int(own.Gid)) // who may not give files away owns both
	}
	if err := f.Chmod(info.Mode().Perm()); err != nil {
		return err
	}
	if _, err := f.Write(b); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), real); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(real))
	if err != nil {
		return nil // it is in place; only a loss of power may undo it
	}
	defer dir.Close()
	_ = dir.Sync()
	return nil
}
