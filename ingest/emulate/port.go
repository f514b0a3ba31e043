package emulate

import (
	"fmt"
	"os"
	"sync"
	"time"
)

// A Port is the plug of an emulated bridge: a pseudo-terminal behind a path
// that stays the same from plug to plug. It may be used by several goroutines.
type Port struct {
	path string // a link to the slave

	mu     sync.Mutex
	master *os.File  // guarded by mu; nil while unplugged
	slave  *os.File  // guarded by mu; held so that the line outlives its reader
	until  time.Time // guarded by mu; the deadline of writes, zero for none
	closed bool      // guarded by mu
}

// NewPort plugs in a bridge at path, which must not exist or be a link that an
// earlier Port left behind.
func NewPort(path string) (*Port, error) {
	if info, err := os.Lstat(path); err == nil && info.Mode()&os.ModeSymlink == 0 {
		return nil, fmt.Errorf("%s exists and is no link of ours", path)
	}
	p := &Port{path: path}
	if err := p.Plug(); err != nil {
		return nil, err
	}
	return p, nil
}

// Path is where a reader finds the port while it is plugged in.
func (p *Port) Path() string { return p.path }

// Plug opens a new pseudo-terminal behind the path. It does nothing for a port
// that is plugged in.
func (p *Port) Plug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master != nil || p.closed {
		return nil
	}
	master, slave, err := openPTY()
	if err != nil {
		return fmt.Errorf("opening a pseudo-terminal: %w", err)
	}
	if err := link(slave.Name(), p.path); err != nil {
		master.Close()
		slave.Close()
		return fmt.Errorf("port %s: %w", p.path, err)
	}
	p.master, p.slave, p.until = master, slave, time.Time{}
	return nil
}

// Unplug pulls the plug: a reader's line goes dead, and the path leads nowhere.
func (p *Port) Unplug() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master == nil {
		return
	}
	os.Remove(p.path)
	p.master.Close()
	p.slave.Close()
	p.master, p.slave = nil, nil
}

// Close unplugs for good.
func (p *Port) Close() error {
	p.Unplug()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	return nil
}

// Write sends b. It waits while the line is full, until the deadline. Without
// a plug the bytes go nowhere, as on a real bridge.
func (p *Port) Write(b []byte) (int, error) {
	p.mu.Lock()
	master := p.master
	p.mu.Unlock()
	if master == nil {
		return len(b), nil
	}
	n, err := master.Write(b)
	if err != nil && !p.pluggedInto(master) {
		return len(b), nil // the plug was pulled meanwhile
	}
	return n, err
}

func (p *Port) pluggedInto(master *os.File) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.master == master
}

// SetWriteDeadline bounds how long the writes to the present plug may wait.
func (p *Port) SetWriteDeadline(t time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.until = t
	if p.master == nil {
		return nil
	}
	return p.master.SetWriteDeadline(t)
}

// atOnce is how much of an empty line's room WriteAnew fills without letting go of it.
const atOnce = 256

// WriteAnew is Write in place of what nobody has read, as a cable stores nothing. A
// reader that was told of something to read finds b: it would wait for what is gone, and
// a port on which a read waits in the operating system cannot be closed. So nothing is
// thrown away where nothing may be written any more.
func (p *Port) WriteAnew(b []byte) (int, error) {
	n, err := p.instead(b[:min(len(b), atOnce)])
	if err != nil || n == len(b) {
		return n, err
	}
	more, err := p.Write(b[n:])
	return n + more, err
}

// instead empties the line for b, which has room in it.
func (p *Port) instead(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.master == nil:
		return len(b), nil
	case !p.until.IsZero() && !time.Now().Before(p.until):
		return 0, os.ErrDeadlineExceeded
	}
	drain(p.slave)
	return p.master.Write(b)
}

// link puts a link at path in one step, so that a reader never finds it
// missing while one plug replaces another.
func link(to, path string) error {
	next := path + ".new"
	os.Remove(next)
	if err := os.Symlink(to, next); err != nil {
		return err
	}
	return os.Rename(next, path)
}
