// Package mosquitto starts Debian's mosquitto for tests of links over MQTT: a
// broker and a publisher that nobody of this project wrote.
package mosquitto

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
)

const patience = 10 * time.Second

// find returns the path of one of mosquitto's programs, or skips the test; CI has them.
func find(t testing.TB, program string) string {
	t.Helper()
	for _, p := range []string{program, "/usr/sbin/" + program} {
		if path, err := exec.LookPath(p); err == nil {
			return path
		}
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s not found: make packages installs it", program)
	}
	t.Skipf("%s not found: install Debian's mosquitto and mosquitto-clients", program)
	panic("unreached")
}

// Options say how a broker differs from one that lets everybody in.
type Options struct {
	Passwords        map[string]string // by user; nil lets everybody in
	ACL              string            // text of an ACL file
	Certificate, Key string            // PEM files, for TLS
	Extra            string            // more lines of configuration
}

// A Broker is a mosquitto that ends with the test.
type Broker struct {
	Address string

	t      testing.TB
	conf   string
	daemon *exec.Cmd
	log    syncBuffer
}

// Start starts a broker on a port of its own of the loopback.
func Start(t testing.TB, o Options) *Broker {
	t.Helper()
	program := find(t, "mosquitto")
	dir := t.TempDir()
	b := &Broker{t: t, Address: wiretest.Vacant(t), conf: filepath.Join(dir, "mosquitto.conf")}
	_, port, _ := net.SplitHostPort(b.Address)
	conf := fmt.Sprintf("listener %s 127.0.0.1\npersistence true\npersistence_location %s/\nlog_dest stderr\nallow_anonymous %v\n",
		port, dir, o.Passwords == nil)
	if os.Geteuid() == 0 {
		conf += "user root\n" // else it could not read what the test writes
	}
	if o.Passwords != nil {
		file := filepath.Join(dir, "passwords")
		b.write(file, "")
		for user, password := range o.Passwords {
			run(t, find(t, "mosquitto_passwd"), "-b", file, user, password)
		}
		conf += "password_file " + file + "\n"
	}
	if o.ACL != "" {
		file := filepath.Join(dir, "acl")
		b.write(file, o.ACL)
		conf += "acl_file " + file + "\n"
	}
	if o.Certificate != "" {
		conf += "certfile " + o.Certificate + "\nkeyfile " + o.Key + "\n"
	}
	b.write(b.conf, conf+o.Extra)
	b.daemon = exec.Command(program, "-c", b.conf)
	b.Run()
	t.Cleanup(b.Stop)
	return b
}

// Run starts the broker again after Stop, with what it kept.
func (b *Broker) Run() {
	b.t.Helper()
	b.daemon = exec.Command(b.daemon.Path, b.daemon.Args[1:]...)
	b.daemon.Stderr = &b.log
	if err := b.daemon.Start(); err != nil {
		b.t.Fatal(err)
	}
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		c, err := net.Dial("tcp", b.Address)
		if err == nil {
			c.Close()
			return
		}
		if time.Now().After(end) {
			b.t.Fatalf("mosquitto does not serve: %v\n%s", err, b.log.String())
		}
	}
}

// Stop ends the broker, which keeps its sessions. Twice does nothing.
func (b *Broker) Stop() {
	if b.daemon.Process == nil || b.daemon.ProcessState != nil {
		return
	}
	b.daemon.Process.Signal(syscall.SIGTERM)
	kill := time.AfterFunc(patience, func() { b.daemon.Process.Kill() })
	defer kill.Stop()
	b.daemon.Wait() // its exit status says nothing that the log does not
}

// Retained returns what a broker retains of a topic, "" for nothing, as mosquitto_sub
// hears it.
func Retained(t testing.TB, address, topic string) string {
	t.Helper()
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	// A topic of which nothing is retained is given up after a second.
	out, _ := exec.CommandContext(t.Context(), find(t, "mosquitto_sub"), "-h", host, "-p", port, "-t", topic, "-q", "1", "-C", "1", "-W", "1", "--retained-only").Output()
	return strings.TrimSuffix(string(out), "\n")
}

// Publish publishes payload with mosquitto_pub, which it gives more arguments.
func Publish(t testing.TB, address, topic string, payload []byte, args ...string) {
	t.Helper()
	if out, err := TryPublish(t, address, topic, payload, args...); err != nil {
		t.Fatalf("mosquitto_pub: %v\n%s", err, out)
	}
}

// TryPublish is Publish where a refusal is expected. It returns what
// mosquitto_pub said.
func TryPublish(t testing.TB, address, topic string, payload []byte, args ...string) (string, error) {
	t.Helper()
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	args = append([]string{"-h", host, "-p", port, "-t", topic, "-q", "1", "-s"}, args...)
	cmd := exec.CommandContext(t.Context(), find(t, "mosquitto_pub"), args...)
	cmd.Stdin = bytes.NewReader(payload)
	kill := time.AfterFunc(patience, func() { cmd.Process.Kill() })
	defer kill.Stop()
	out, err := cmd.CombinedOutput()
	return strings.TrimSpace(string(out)), err
}

func (b *Broker) write(file, text string) {
	b.t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
}

func run(t testing.TB, program string, args ...string) {
	t.Helper()
	if out, err := exec.Command(program, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", filepath.Base(program), err, out)
	}
}

// A syncBuffer is a buffer that a program writes while a test reads.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer // guarded by mu
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}
