package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"weald/config"
)

// What shows the servers of a log who a machine is may be read by nobody else, whether it
// connects to them or joins them as a leaf.
func TestCredentialsAreClosed(t *testing.T) {
	key := filepath.Join(t.TempDir(), "cluster.key")
	if _, err := newClusterKey(key); err != nil {
		t.Fatal(err)
	}
	if token, err := tokenIn(key); err != nil || token {
		t.Errorf("%v: a token is %t", err, token)
	}
	if _, err := credentialsOf(key); err != nil {
		t.Error(err)
	}
	creds := write(t, "weald.creds", "-----BEGIN NATS USER JWT-----\n")
	if token, err := tokenIn(creds); err != nil || !token {
		t.Errorf("%v: a token is %t", err, token)
	}
	if _, err := credentialsOf(write(t, "other", "nothing\n")); err == nil || !strings.Contains(err.Error(), "neither a key of weald cluster key nor credentials") {
		t.Error(err)
	}
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	const open = "every account of this machine may use it (mode 0644)"
	if _, err := credentialsOf(key); err == nil || !strings.Contains(err.Error(), open) {
		t.Errorf("to connect: %v", err)
	}
	m := &machine{config: &config.Config{Data: t.TempDir(), Cluster: &config.Cluster{Credentials: key}}}
	if _, err := m.ownLog(); err == nil || !strings.Contains(err.Error(), open) {
		t.Errorf("as a leaf: %v", err)
	}
}
