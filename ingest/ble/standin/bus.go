package standin

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Forbidden is a policy of StartBus: nobody may send to BlueZ.
const Forbidden = `<policy context="mandatory"><deny send_destination="org.bluez"/></policy>`

const busConfig = `<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <listen>unix:path=%s</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
    <allow own="*"/>
  </policy>
  %s
</busconfig>
`

// StartBus starts a message bus of its own for a test, with further policies,
// and returns its address. The test is skipped where there is no dbus-daemon.
func StartBus(t testing.TB, policies ...string) (address string) {
	t.Helper()
	program, err := exec.LookPath("dbus-daemon")
	if err != nil {
		t.Skip("dbus-daemon not found: Bluetooth is tested against a stand-in on a private message bus (Debian package dbus)")
	}
	dir, err := os.MkdirTemp("", "bus") // t.TempDir is too long for the path of a socket
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	config := filepath.Join(dir, "bus.conf")
	text := fmt.Sprintf(busConfig, filepath.Join(dir, "socket"), strings.Join(policies, "\n"))
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--config-file="+config, "--nofork", "--nopidfile", "--print-address=1")
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait() // says that it was killed
		if t.Failed() && complaints.Len() > 0 {
			t.Logf("the message bus said:\n%s", complaints.Bytes())
		}
	})
	said := make(chan string, 1)
	go func() {
		line, _ := bufio.NewReader(out).ReadString('\n')
		said <- strings.TrimSpace(line)
	}()
	select {
	case address = <-said:
	case <-time.After(10 * time.Second):
	}
	if address == "" {
		t.Fatal("dbus-daemon did not tell its address")
	}
	return address
}
