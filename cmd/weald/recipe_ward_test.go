package main

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"weald/ingest/raced"
)

// The recipe of webui/src/notes/machines.md for a ward and its centre, on top of that of three
// servers: TLS on the link, a key each, and permissions of the ward for its log alone. The ward
// is shown, also when the server is gone that it was joined to, and all of its record comes.
// Whoever takes its key away can use it for nothing else, and when it is sent away it is not
// seen any more, and goes on.
func TestTheRecipeOfAWardAndItsCentre(t *testing.T) {
	raced.Skip(t, "servers that are killed, against the clock")
	t.Parallel()
	keys, public := map[string]string{}, map[string]string{}
	line := strings.TrimSpace(printedIn(t, "and bring `ca.pem` there:"))
	for _, m := range []string{"ward", "centre"} {
		keys[m] = filepath.Join(t.TempDir(), m+".key")
		public[m] = command(t, strings.ReplaceAll(line, "/etc/weald/cluster.key", keys[m]))
	}
	d := deployed(t, func(conf string) string {
		account := strings.NewReplacer("PUBLIC-KEY-OF-THE-WARD", public["ward"], "PUBLIC-KEY-OF-THE-CENTRE", public["centre"]).
			Replace(printedIn(t, "and for what this takes:"))
		before, after, found := strings.Cut(conf, "accounts {\n")
		if !found {
			t.Fatalf("the recipe's server has no accounts: %s", conf)
		}
		return before + "accounts {\n" + account + after + printedIn(t, "beside the rest:")
	})
	for _, s := range d.servers {
		s.healthy()
	}
	config := func(m, words string) string {
		return strings.ReplaceAll(d.here.Replace(printedIn(t, words)), "/etc/weald/cluster.key", keys[m])
	}
	p := newCouple(t, config("ward", "configuration of weald at the ward:"), config("centre", "on a machine that shows the ward:"))
	ward, centre := launch(t, p.ward), launch(t, p.centre)
	saysSoon(t, centre, "/", "This ward is seen", "bench-1", "raised")

	joinedTo := func() *logServer {
		t.Helper()
		for _, s := range d.servers {
			if n := strings.Count(s.said.String(), "Leafnode connection created"); n > 0 {
				return s
			}
		}
		t.Fatal("the ward is joined to none of the servers")
		return nil
	}
	gone := joinedTo()
	gone.kill()
	p.tight.Store(true)
	saysSoon(t, centre, "/", "This ward is seen", "calf above 50")
	p.tight.Store(false)
	gone.start()
	gone.healthy()
	saysSoon(t, centre, "/", "This ward is seen")

	saysSoon(t, centre, "/", "ankle.pressure", "mmHg")

	t.Run("a key that was taken away", func(t *testing.T) { takenAway(t, d, keys) })

	hasAll(t, centre)
	for _, s := range d.servers { // who is sent away
		b, err := os.ReadFile(s.conf)
		if err != nil {
			t.Fatal(err)
		}
		before, after, found := strings.Cut(string(b), "    {\n      nkey: "+public["ward"])
		_, after, closed := strings.Cut(after, "\n    }\n")
		if !found || !closed {
			t.Fatalf("the ward has no part of its own in %s", b)
		}
		if err := os.WriteFile(s.conf, []byte(before+after), 0o600); err != nil {
			t.Fatal(err)
		}
		s.kill()
		s.start()
		s.healthy()
	}
	saysSoon(t, centre, "/", "Not seen since")
	saysSoon(t, ward, "/readyz", `"ready":true`) // it does not mind
	centre.end()
	ward.end()
	sameEntries(t, recordBeside(p.centre), recordBeside(p.ward))
}

// hasAll waits until a centre has all that its ward has written until now.
func hasAll(t *testing.T, centre *victim) {
	t.Helper()
	now := time.Now()
	eventually(t, longEnough, func() error {
		seen, err := get[struct {
			SeenAt *time.Time `json:"seen_at"`
		}](centre.address, "/api/v1/alerts")
		if err == nil && (seen.SeenAt == nil || seen.SeenAt.Before(now)) {
			err = fmt.Errorf("all is known as of %v, and it is %v; %s", seen.SeenAt, now, centre.stderr.String())
		}
		return err
	})
}

// takenAway uses the ward's key for what it is not for.
func takenAway(t *testing.T, d *deployment, keys map[string]string) {
	here := func(port string) string { return d.here.Replace("log-1.larch.example:" + port) }
	connect := func(m string) (*nats.Conn, error) {
		shown, err := credentialsOf(keys[m])
		if err != nil {
			t.Fatal(err)
		}
		return nats.Connect("tls://"+here("4222"), shown, nats.RootCAs(d.ca))
	}
	if conn, err := connect("ward"); err == nil {
		conn.Close()
		t.Error("it lets in whoever is no leaf")
	}
	centre, err := connect("centre")
	if err != nil {
		t.Fatal(err)
	}
	defer centre.Close()
	stranger := filepath.Join(t.TempDir(), "stranger.key")
	if _, err := newClusterKey(stranger); err != nil {
		t.Fatal(err)
	}
	leafOf(t, d, here("7422"), stranger)
	eventually(t, longEnough, func() error {
		if said := d.servers[0].said.String(); !strings.Contains(said, "uthentication error") && !strings.Contains(said, "uthorization") {
			return fmt.Errorf("a leaf whose key nobody knows is not sent away: %s", said)
		}
		return nil
	})

	leaf := leafOf(t, d, here("7422"), keys["ward"])
	inside, err := nats.Connect("", nats.InProcessServer(leaf))
	if err != nil {
		t.Fatal(err)
	}
	defer inside.Close()
	eventually(t, longEnough, func() error {
		if leaf.NumLeafNodes() == 0 {
			return fmt.Errorf("the ward's key makes no leaf")
		}
		return nil
	})
	// What is let through is what the ward needs; what is sent before it says that it was passed over.
	hears := func(at, from *nats.Conn, what, let string) {
		t.Helper()
		sub, err := at.SubscribeSync(">")
		if err == nil {
			err = at.Flush()
		}
		if err != nil {
			t.Fatal(err)
		}
		defer sub.Unsubscribe()
		eventually(t, longEnough, func() error { // interest takes a moment to be known
			for _, subject := range []string{what, let} {
				if err := from.Publish(subject, []byte(what)); err != nil {
					return err
				}
			}
			for end := time.Now().Add(time.Second); time.Now().Before(end); { // others come too
				m, err := sub.NextMsg(time.Second)
				switch {
				case err != nil:
				case m.Subject == what && string(m.Data) == what: // and not the log's, which servers deliver under its subject
					t.Errorf("%s comes over the link", what)
				case m.Subject == let && string(m.Data) == what:
					return nil
				}
			}
			return fmt.Errorf("%s does not come", let)
		})
	}
	hears(inside, centre, "weald.larch.calls", "$JS.FC.weald")
	hears(centre, inside, "weald.larch.calls", "_INBOX.weald")
	hears(centre, inside, "weald.larch.relief", "_INBOX.weald")
}

// leafOf starts a server that is joined to the centre by a key.
func leafOf(t *testing.T, d *deployment, address, key string) *server.Server {
	t.Helper()
	seed, err := os.ReadFile(key)
	if err != nil {
		t.Fatal(err)
	}
	pem, err := os.ReadFile(d.ca)
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(pem)
	s, err := server.NewServer(&server.Options{ServerName: "taken-away", DontListen: true, NoSigs: true, NoLog: true, LeafNode: server.LeafNodeOpts{
		ReconnectInterval: 100 * time.Millisecond,
		Remotes: []*server.RemoteLeafOpts{{
			URLs: []*url.URL{{Scheme: "tls", Host: address}}, TLS: true, TLSConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}, Nkey: strings.TrimSpace(string(seed)),
		}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}
