package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"weald/ingest/tcp/wire/wiretest"
)

// asServer makes the test binary a server of the log, with the configuration file that it
// names.
const asServer = "WEALD_TEST_LOG_SERVER"

func runServer(path string) error {
	o, err := server.ProcessConfigFile(path)
	if err != nil {
		return err
	}
	s, err := server.NewServer(o)
	if err != nil {
		return err
	}
	s.ConfigureLogger()
	if err := server.Run(s); err != nil {
		return err
	}
	s.WaitForShutdown()
	return nil
}

// A logServer is a server of the log in a process of its own.
type logServer struct {
	t      *testing.T
	conf   string
	health string
	cmd    *exec.Cmd // nil while it does not run
	said   log
}

func (s *logServer) start() {
	s.t.Helper()
	s.cmd = exec.Command(os.Args[0])
	s.cmd.Env = append(os.Environ(), asServer+"="+s.conf)
	s.cmd.Stderr = &s.said
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(s.kill)
}

// kill is kill -9.
func (s *logServer) kill() {
	if s.cmd != nil {
		_ = s.cmd.Process.Kill()
		_ = s.cmd.Wait() // says that it was killed
		s.cmd = nil
	}
}

// healthy waits until it says that it has its part of the log.
func (s *logServer) healthy() {
	s.t.Helper()
	eventually(s.t, time.Minute, func() error {
		r, err := http.Get("http://" + s.health + "/healthz")
		if err != nil {
			return fmt.Errorf("%w: %s", err, s.said.String())
		}
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		if err == nil && !strings.Contains(string(b), `"ok"`) {
			err = fmt.Errorf("it says %s", b)
		}
		return err
	})
}

// printedIn returns the first indented block of webui/src/notes/machines.md behind some words of it.
func printedIn(t *testing.T, words string) (block string) {
	t.Helper()
	b, err := os.ReadFile("../../webui/src/notes/machines.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(string(b), words)
	if !found {
		t.Fatalf("the document on several machines does not say %q", words)
	}
	for line := range strings.Lines(after) {
		if code, ok := strings.CutPrefix(line, "    "); ok {
			block += code
		} else if block != "" {
			break
		}
	}
	return block
}

// A deployment is what the recipe of webui/src/notes/machines.md makes: three servers of the log, and what a
// machine with weald needs.
type deployment struct {
	servers  []*logServer
	machines map[string]string // by name: the part of its configuration that the recipe has
	ca       string            // file of the CA's certificate
	here     *strings.Replacer // addresses and ca.pem of the recipe to those of the test
}

// command runs a command of the recipe, and returns what it prints.
func command(t *testing.T, line string) string {
	t.Helper()
	var out bytes.Buffer
	if code := run(t.Context(), strings.Fields(line)[1:], &out, &out); code != 0 {
		t.Fatalf("%s ended with %d: %s", line, code, out.String())
	}
	return strings.TrimSpace(out.String())
}

// deployed does what the recipe says, on loopback, with something more in the
// configuration of each server.
func deployed(t *testing.T, more func(conf string) string) *deployment {
	t.Helper()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	for line := range strings.Lines(strings.ReplaceAll(strings.ReplaceAll(printedIn(t, "`ca.key` stays where it is."), " larch-ca", " "+at("larch-ca")), "--out ", "--out "+dir+"/")) {
		command(t, line)
	}
	d := &deployment{machines: map[string]string{}, ca: at("log-1/ca.pem")}
	public := map[string]string{}
	key := strings.TrimSpace(printedIn(t, "which is for the servers:"))
	for _, m := range []string{"weald-a", "weald-b"} {
		public[m] = command(t, strings.ReplaceAll(key, "/etc/weald/cluster.key", at(m+".key")))
	}
	var ports, here []string // clients, routes and leaves by server, for the file and for the addresses in it
	for i := range 3 {
		name := fmt.Sprintf("log-%d.larch.example", i+1)
		client, route, leaf := wiretest.Vacant(t), wiretest.Vacant(t), wiretest.Vacant(t)
		ports = append(ports, client, route, leaf)
		here = append(here, name+":4222", client, name+":6222", route, name+":7422", leaf)
	}
	conf := more(printedIn(t, "This is all of"))
	for i := range 3 {
		s := &logServer{t: t, conf: at(fmt.Sprintf("server-%d.conf", i+1)), health: wiretest.Vacant(t)}
		name := fmt.Sprintf("log-%d", i+1)
		text := strings.NewReplacer("server_name: log-1", "server_name: "+name, "client_advertise: log-1.larch", "client_advertise: "+name+".larch").Replace(conf)
		text = strings.NewReplacer(append(slices.Clone(here), "0.0.0.0:4222", ports[3*i], "0.0.0.0:6222", ports[3*i+1], "0.0.0.0:7422", ports[3*i+2], "127.0.0.1:8222", s.health,
			"/etc/weald-log", at(name), "/var/lib/weald-log", at(name+"-store"),
			"PUBLIC-KEY-OF-WEALD-A", public["weald-a"], "PUBLIC-KEY-OF-WEALD-B", public["weald-b"])...).Replace(text)
		if err := os.WriteFile(s.conf, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		d.servers = append(d.servers, s)
		s.start()
	}
	d.here = strings.NewReplacer(append(slices.Clone(here), "/etc/weald/ca.pem", d.ca)...)
	for _, m := range []string{"weald-a", "weald-b"} {
		d.machines[m] = strings.NewReplacer("/etc/weald/cluster.key", at(m+".key"), "weald-a", m).
			Replace(d.here.Replace(printedIn(t, "with `machine` and `pages` of each machine:")))
	}
	return d
}
