package cert

import (
	"bytes"
	"context"
	"crypto/tls"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

func keeper(t *testing.T, o Options) *Keeper {
	t.Helper()
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	k, err := Keep(o)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// copied puts the pair of one folder in place of another's, the key first or last.
func copied(t *testing.T, from, to string, files ...string) {
	t.Helper()
	for _, f := range files {
		b, err := os.ReadFile(filepath.Join(from, f))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, f), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// A daemon that runs for two years has a good certificate all the time, and changes it
// no more often than it must.
func TestRenewsByItself(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tls")
	now := time.Now()
	k := keeper(t, Options{Dir: dir, Names: asked, Now: func() time.Time { return now }})
	seen := map[string]bool{}
	for end := now.AddDate(2, 0, 0); now.Before(end); now = now.Add(24 * time.Hour) {
		k.Look()
		c := k.current().Leaf
		seen[Fingerprint(c)] = true
		if left := c.NotAfter.Sub(now); left < Life/3-24*time.Hour || k.Trouble() != "" || !k.Ends().Equal(c.NotAfter) {
			t.Fatalf("%v are left; %s, ends %v", left, k.Trouble(), k.Ends())
		}
	}
	if n := len(seen); n < 12 || n > 14 {
		t.Errorf("%d certificates in two years, want one every 60 days", n)
	}
}

// Run looks by itself.
func TestRunLooks(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tls")
	synctest.Test(t, func(t *testing.T) {
		k := keeper(t, Options{Dir: dir, Names: asked, Now: time.Now})
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() { k.Run(ctx) })
		before := k.current()
		if _, err := Renew(dir, asked, time.Now(), Life, true); err != nil {
			t.Error(err)
		}
		synctest.Wait()
		time.Sleep(lookEvery + time.Nanosecond)
		synctest.Wait()
		if k.current() == before {
			t.Errorf("after %v it serves the old one", lookEvery)
		}
		stop()
		running.Wait()
	})
}

// New files count for new connections; those that are open stay, and speak on.
func TestFilesThatChange(t *testing.T) {
	now := time.Now()
	dir, other := made(t, now), made(t, now)
	certificate, key := filepath.Join(dir, File), filepath.Join(dir, KeyFile)
	var said bytes.Buffer
	k := keeper(t, Options{Certificate: certificate, Key: key, Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(&said, nil))})
	address := serve(t, k)
	pool := root(t, dir)
	pool.AppendCertsFromPEM(pemOf(t, other))
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	defer client.CloseIdleConnections()
	// peer asks over the connection that is open, if one is.
	peer := func(c *http.Client) string {
		t.Helper()
		r, err := c.Post("https://"+address, "text/plain", strings.NewReader("weal"))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if b := make([]byte, 4); r.ContentLength != 4 || must(r.Body.Read(b)) != 4 || string(b) != "weal" {
			t.Errorf("answered %q", b)
		}
		return Fingerprint(r.TLS.PeerCertificates[0])
	}
	fresh := func() string {
		t.Helper()
		c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, DisableKeepAlives: true}}
		return peer(c)
	}
	before := peer(client)
	if got := fresh(); got != before {
		t.Fatal("two certificates")
	}

	copied(t, other, dir, File) // and its key has still to come
	k.Look()
	if got := fresh(); got != before || !strings.Contains(k.Trouble(), "is not that of certificate") {
		t.Errorf("half a pair: %t, trouble %q", got == before, k.Trouble())
	}
	copied(t, other, dir, KeyFile)
	k.Look()
	if got := fresh(); got != Fingerprint(leaf(t, other)) || k.Trouble() != "" {
		t.Errorf("the new pair is not served: %s", k.Trouble())
	}
	if got := peer(client); got != before {
		t.Error("the connection that was open has gone")
	}

	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		k.Look()
	}
	if got := fresh(); got != Fingerprint(leaf(t, other)) || !strings.Contains(k.Trouble(), "no such file") {
		t.Errorf("without its file: trouble %q", k.Trouble())
	}
	if n := strings.Count(said.String(), "no such file"); n != 1 {
		t.Errorf("said %d times: %s", n, said.String())
	}
}

func must(n int, _ error) int { return n }

func pemOf(t *testing.T, dir string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, CAFile))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A certificate that has ended is served and complained of, by the daemon and by Check,
// which warns before.
func TestEndedCertificate(t *testing.T) {
	began := time.Now()
	dir := made(t, began)
	now := began
	o := Options{Certificate: filepath.Join(dir, File), Key: filepath.Join(dir, KeyFile), Names: asked, Now: func() time.Time { return now }}
	k := keeper(t, o)
	for _, c := range []struct {
		after          time.Duration
		trouble, check string
	}{
		{0, "", ""}, {Life - soon - time.Hour, "", ""}, {Life - soon + time.Hour, "", "ends in 20 days, on"},
		{Life + time.Hour, "has ended on", "has ended on"}, {-24 * time.Hour, "is good from", "is good from"},
	} {
		now = began.Add(c.after)
		k.Look()
		if got := k.Trouble(); got == "" != (c.trouble == "") || !strings.Contains(got, c.trouble) {
			t.Errorf("after %v: %q, want %q", c.after, got, c.trouble)
		}
		fine, wrongs := Check(o)
		if got := strings.Join(wrongs, "; "); got == "" != (c.check == "") || !strings.Contains(got, c.check) || !strings.Contains(fine, "is good until") {
			t.Errorf("after %v: %q, want %q; %s", c.after, got, c.check, fine)
		}
	}
	now = began.Add(Life + time.Hour)
	if _, err := Keep(Options{Certificate: o.Certificate, Key: o.Key, Now: o.Now, Log: slog.New(slog.DiscardHandler)}); err != nil {
		t.Errorf("no pages at all: %v", err)
	}
}

func TestCheckOfAnAuthority(t *testing.T) {
	now := time.Now()
	dir := filepath.Join(t.TempDir(), "tls")
	o := Options{Dir: dir, Names: asked, Now: func() time.Time { return now }}
	if fine, wrongs := Check(o); len(wrongs) > 0 || !strings.Contains(fine, "are made") {
		t.Errorf("before the first start: %s %q", fine, wrongs)
	}
	keeper(t, o)
	if fine, wrongs := Check(o); len(wrongs) > 0 || !strings.Contains(fine, "for 89 days") {
		t.Errorf("after it: %s %q", fine, wrongs)
	}
	o.Names = []string{"moved.example"}
	if _, wrongs := Check(o); len(wrongs) != 2 || !strings.Contains(wrongs[0], "was not made for moved.example") || !strings.Contains(wrongs[1], "is not for moved.example") {
		t.Errorf("under another name: %q", wrongs)
	}
	if _, err := Keep(Options{Dir: dir, Names: o.Names, Now: o.Now, Log: slog.New(slog.DiscardHandler)}); err == nil || !strings.Contains(err.Error(), "--new-ca") {
		t.Errorf("it starts: %v", err)
	}
	o.Names = asked
	now = now.Add(caLife - LongestLife + 24*time.Hour)
	if _, wrongs := Check(o); len(wrongs) != 2 || !strings.Contains(wrongs[0], "the CA in") {
		t.Errorf("before the CA ends: %q", wrongs)
	}
	// Its last certificate ends with it.
	if _, err := Renew(dir, asked, now.Add(LongestLife-48*time.Hour), Life, false); err != nil {
		t.Fatal(err)
	}
	a, err := Open(dir)
	if err != nil || !leaf(t, dir).NotAfter.Equal(a.Ends()) {
		t.Errorf("%v: the certificate ends %v, the CA %v", err, leaf(t, dir).NotAfter, a.Ends())
	}
	if _, err := Renew(dir, asked, now.Add(LongestLife), Life, false); err == nil || !strings.Contains(err.Error(), "has ended on") {
		t.Errorf("it signs on: %v", err)
	}
	if _, err := Renew(dir, nil, now, Life, false); err == nil {
		t.Error("a certificate for nobody")
	}
}
