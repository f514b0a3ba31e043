package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire/wiretest"
	"weald/webui/cert"
)

// A directory where people can log in comes and goes with a reload, and whoever is logged
// in stays so; its secret may be missing, which locks nobody out. Who needs an account, and
// which files the pages have their certificate from, is for a start: such a file is refused
// whole. What those files hold is taken by a reload at once.
func TestWhoMayComesWithAReload(t *testing.T) {
	t.Parallel()
	ca := wiretest.NewCA(t)
	certificate, key := ca.Leaf("127.0.0.1")
	const rest = "bridges: []\n"
	text := func(accounts, oidc string) string {
		return fmt.Sprintf("data: record\nweb: {listen: %q, tls: {certificate: %q, key: %q}%s%s}\n%s", "127.0.0.1:0", certificate, key, accounts, oidc, rest)
	}
	const required = ", accounts: required"
	const directory = ", oidc: {issuer: \"https://login.larch.example\", client_id: weald, secret_file: none.secret, base: \"https://127.0.0.1\"}"
	name := write(t, "ward.yaml", text(required, ""))
	c := configOf(t, name)
	d, err := newDaemon(t.Context(), c, 1, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	host, end := served(t, d)
	defer end()
	address := "https://" + host
	pin, err := cert.Pin(certificate)
	if err != nil {
		t.Fatal(err)
	}
	pins.Store(host, pin)
	var asAdmin context.Context
	eventually(t, longEnough, func() error {
		asAdmin = context.WithValue(t.Context(), asKey{}, d.access.Console(d.clock.Now()))
		_, err := getJSON[struct{}](asAdmin, address+"/api/v1/places")
		return err
	})
	apply := func(text, says string) {
		t.Helper()
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := d.reload("E-01"); (err == nil) != (says == "") || err != nil && !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
	knows := func(want bool) {
		t.Helper()
		me, err := getJSON[struct{ Directory bool }](t.Context(), address+"/api/v1/me")
		if err != nil || me.Directory != want {
			t.Errorf("%v: a directory is %t, want %t", err, me.Directory, want)
		}
		if _, err := getJSON[struct{}](asAdmin, address+"/api/v1/places"); err != nil {
			t.Errorf("whoever was in is out: %v", err)
		}
		if _, err := getJSON[struct{}](t.Context(), address+"/api/v1/places"); err == nil {
			t.Error("somebody is in whom nobody knows")
		}
	}
	knows(false)
	apply(text(required, directory), "")
	knows(true)
	apply(text("", ""), "web.accounts")
	apply(strings.Replace(text(required, directory), certificate, filepath.Join(t.TempDir(), "other.pem"), 1), "web.tls")
	knows(true)
	apply(text(required, ""), "")
	knows(false)

	before := d.secure.Ends()
	newCertificate, newKey := ca.Issue("127.0.0.1", -time.Minute, 30*time.Minute)
	for from, to := range map[string]string{newKey: key, newCertificate: certificate} {
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	apply(text(required, ""), "")
	if !d.secure.Ends().Before(before) {
		t.Errorf("the certificate ends %v as before", before)
	}
}
