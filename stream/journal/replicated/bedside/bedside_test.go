package bedside

import (
	"crypto/rand"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

// What an operator has got wrong is said before a server runs, with the file in which it is.
func TestWhatTheServerCannotRunWith(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	centre := []string{"tls://log-1.larch.example:7422"}
	for what, c := range map[string]struct {
		o    Options
		says string
	}{
		"a key that is none":          {Options{Key: file("cluster.key", "not a key")}, "cluster.key"},
		"no key":                      {Options{Key: filepath.Join(dir, "missing.key")}, "missing.key"},
		"a CA without a certificate":  {Options{CA: file("ca.pem", "not a certificate"), Centre: centre}, "ca.pem"},
		"no CA":                       {Options{CA: filepath.Join(dir, "missing.pem"), Centre: centre}, "missing.pem"},
		"an address that is none":     {Options{Centre: []string{"tls://log-1:port"}}, "port"},
		"credentials that are no key": {Options{Key: file("ward.creds", "-----BEGIN NATS USER JWT-----\nx\n------END NATS USER JWT------\n")}, "ward.creds"},
	} {
		c.o.Dir, c.o.Log = filepath.Join(dir, "log"), slog.New(slog.DiscardHandler)
		s, err := Serve(c.o)
		if err == nil {
			s.End()
		}
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "log")); !os.IsNotExist(err) {
		t.Errorf("a server has run: %v", err)
	}
}

// The key of a file is the one that was put there, alone or among credentials.
func TestSeedIn(t *testing.T) {
	pair, err := nkeys.CreatePairWithRand(nkeys.PrefixByteUser, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	seed, err := pair.Seed()
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"alone":             string(seed) + "\n",
		"among credentials": "-----BEGIN NATS USER JWT-----\neyJ\n------END NATS USER JWT------\n\n-----BEGIN USER NKEY SEED-----\n" + string(seed) + "\n------END USER NKEY SEED------\n",
	} {
		path := filepath.Join(t.TempDir(), "key")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := seedIn(path); err != nil || got != string(seed) {
			t.Errorf("%s it is another, %v", name, err)
		}
	}
}

// What a ward has acknowledged is there when its server is started anew, with no centre in
// reach, and nobody but the daemon can connect to it.
func TestAWardsLogIsKeptWithoutACentre(t *testing.T) {
	o := Options{Dir: t.TempDir(), Machine: "weald-ward", Domain: "larch", Centre: []string{"nats://127.0.0.1:1"}, Log: slog.New(slog.DiscardHandler)}
	for start := range 2 {
		s, err := Serve(o)
		if err != nil {
			t.Fatal(err)
		}
		if a := s.server.Addr(); a != nil {
			t.Errorf("it listens at %v", a)
		}
		conn, err := nats.Connect("", s.Option())
		if err != nil {
			t.Fatal(err)
		}
		js, err := conn.JetStream(nats.Domain("larch"))
		if err != nil {
			t.Fatal(err)
		}
		if start == 0 {
			if _, err := js.AddStream(&nats.StreamConfig{Name: "log", Subjects: []string{"log"}}); err != nil {
				t.Fatal(err)
			}
			if _, err := js.Publish("log", []byte("kept")); err != nil {
				t.Fatal(err)
			}
		}
		if m, err := js.GetMsg("log", 1); err != nil || string(m.Data) != "kept" {
			t.Errorf("at start %d: %v", start, err)
		}
		conn.Close()
		s.End()
	}
}
