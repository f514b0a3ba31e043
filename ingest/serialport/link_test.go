package serialport

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// bridge opens a pty whose slave is reachable through the link at path, and
// returns the end that the device holds.
func bridge(t *testing.T, path string) *os.File {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { master.Close(); slave.Close() })
	next := path + ".next"
	if err := os.Symlink(slave.Name(), next); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(next, path); err != nil {
		t.Fatal(err)
	}
	return master
}

func open(t *testing.T, path string) io.ReadCloser {
	t.Helper()
	c, err := Link{Path: path}.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// readErr waits for the error of one Read.
func readErr(t *testing.T, c io.Reader) error {
	t.Helper()
	got := make(chan error, 1)
	go func() {
		_, err := c.Read(make([]byte, 64))
		got <- err
	}()
	select {
	case err := <-got:
		return err
	case <-time.After(5 * time.Second):
		t.Fatal("the read goes on 5 s after its end")
		return nil
	}
}

func TestEveryByteArrives(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	master := bridge(t, path)
	c := open(t, path)

	var sent []byte
	for i := range 4 * 256 {
		sent = append(sent, byte(i))
	}
	go master.Write(sent)

	got := make([]byte, len(sent))
	done := make(chan error, 1)
	go func() { _, err := io.ReadFull(c, got); done <- err }()
	select {
	case err := <-done:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("not all bytes within 5 s")
	}
	if !bytes.Equal(got, sent) {
		t.Error("bytes were changed on the way")
	}
}

func TestOwnCloseIsNotAnUnplug(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	bridge(t, path)
	c := open(t, path)
	time.AfterFunc(20*time.Millisecond, func() { c.Close() })
	if err := readErr(t, c); !errors.Is(err, os.ErrClosed) || errors.Is(err, ErrUnplugged) {
		t.Errorf("read ended by our Close: %v, want os.ErrClosed alone", err)
	}
	if err := c.Close(); err != nil {
		t.Errorf("closing again: %v", err)
	}
}

func TestUnplugAndReplug(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	master := bridge(t, path)
	c := open(t, path)
	time.AfterFunc(20*time.Millisecond, func() { master.Close() })
	if err := readErr(t, c); !errors.Is(err, ErrUnplugged) || errors.Is(err, os.ErrClosed) {
		t.Fatalf("read ended by the device: %v, want ErrUnplugged alone", err)
	}
	c.Close()

	again := bridge(t, path) // another pty, the same path
	c = open(t, path)
	if _, err := again.Write([]byte("w1")); err != nil {
		t.Fatal(err)
	}
	got := make([]byte, 2)
	if _, err := io.ReadFull(c, got); err != nil || string(got) != "w1" {
		t.Errorf("after the replug: %q, %v", got, err)
	}
}

func TestTwoOpens(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	bridge(t, path)
	open(t, path)
	c, err := Link{Path: path}.Open(t.Context())
	if os.Geteuid() == 0 {
		// The kernel lets a superuser in twice; both ends must then live.
		if err != nil {
			t.Fatalf("second open as superuser: %v", err)
		}
		c.Close()
		return
	}
	if err == nil || !strings.Contains(err.Error(), "in use by another program") {
		t.Errorf("second open: %v, want it refused as in use", err)
	}
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(plain, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	missing := filepath.Join(dir, "ttyX")
	dangling := filepath.Join(dir, "dangling")
	if err := os.Symlink(missing, dangling); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		link Link
		want string
	}{
		{Link{Path: missing}, "no such port: " + missing + "; is the bridge plugged in?"},
		{Link{Path: dangling}, "no such port: " + dangling + "; is the bridge plugged in?"},
		{Link{Path: plain}, plain + " is not a serial port"},
		{Link{USB: USB{Vendor: "fffe", Serial: "none"}}, "no such port: usb:fffe:*:none; is the bridge plugged in?"},
	} {
		_, err := c.link.Open(t.Context())
		if err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %q", c.link.Name(), err, c.want)
		}
	}
	if _, err := (Link{Path: missing}).Open(t.Context()); !errors.Is(err, ErrNoPort) {
		t.Errorf("a missing port: %v does not wrap ErrNoPort", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := (Link{Path: missing}).Open(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
}

func TestUSBPicksOnePort(t *testing.T) {
	ports := []Port{
		{Path: "/dev/ttyS0"},
		{Path: "/dev/ttyACM0", Vendor: "1209", Product: "0001", Serial: "A7"},
		{Path: "/dev/ttyACM1", Vendor: "1209", Product: "0001", Serial: "B2"},
		{Path: "/dev/ttyUSB0", Vendor: "10c4", Product: "ea60"},
	}
	for _, c := range []struct {
		usb        USB
		path, fail string
	}{
		{usb: USB{Vendor: "1209", Product: "0001", Serial: "B2"}, path: "/dev/ttyACM1"},
		{usb: USB{Vendor: "10C4"}, path: "/dev/ttyUSB0"},
		{usb: USB{Serial: "A7"}, path: "/dev/ttyACM0"},
		{usb: USB{Vendor: "1209"}, fail: "fits more than one port (/dev/ttyACM0, /dev/ttyACM1)"},
		{usb: USB{Vendor: "1209", Serial: "b2"}, fail: "is the bridge plugged in?"},
	} {
		path, err := c.usb.pick(ports)
		if c.fail == "" && (err != nil || path != c.path) {
			t.Errorf("%v: %q, %v, want %q", c.usb, path, err, c.path)
		}
		if c.fail != "" && (err == nil || !strings.Contains(err.Error(), c.fail)) {
			t.Errorf("%v: %q, %v, want an error with %q", c.usb, path, err, c.fail)
		}
	}
}

func TestPortsCanBeListed(t *testing.T) {
	if _, err := Ports(); err != nil {
		t.Error(err)
	}
}
