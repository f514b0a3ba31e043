package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
	"github.com/spf13/cobra"

	"weald/ingest/tcp/wire/pair"
)

func newCluster() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "cluster",
		Short:   "For a record that several machines keep",
		Example: "  weald cluster key /etc/weald/cluster.key",
	}
	cmd.AddCommand(&cobra.Command{
		Use:   "key FILE",
		Short: "Make the key by which the servers of the log know this machine",
		Long: `Writes a key into a new file that only this account may read, for credentials: of
cluster:, and prints what the servers of the log have to know of it: a public key, which is
no secret, for users: of the account in their configuration. Each machine has its own, so
that one can be sent away alone.`,
		Example: "  weald cluster key /etc/weald/cluster.key",
		Args:    arguments(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			public, err := newClusterKey(args[0])
			if err == nil {
				fmt.Fprintln(cmd.OutOrStdout(), public)
			}
			return err
		},
	})
	return cmd
}

// newClusterKey writes a key into a file that is not there yet, and returns its public half.
func newClusterKey(path string) (public string, err error) {
	key, err := nkeys.CreateUser()
	if err != nil {
		return "", err
	}
	seed, err := key.Seed()
	if err != nil {
		return "", err
	}
	if public, err = key.PublicKey(); err != nil {
		return "", err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	_, err = f.Write(append(seed, '\n'))
	return public, errors.Join(err, f.Sync(), f.Close())
}

// credentialsOf shows servers who this machine is.
func credentialsOf(path string) (nats.Option, error) {
	token, err := tokenIn(path)
	if err != nil {
		return nil, err
	}
	if token {
		return nats.UserCredentials(path), nil
	}
	option, err := nats.NkeyOptionFromSeed(path)
	if err != nil {
		return nil, fmt.Errorf("credentials %s: neither a key of weald cluster key nor credentials of NATS: %w", path, err)
	}
	return option, nil
}

// tokenIn reports whether a file has credentials as NATS issues them, which begin with a
// token, and not a key of newClusterKey.
func tokenIn(path string) (bool, error) {
	if err := pair.Closed("credentials", path); err != nil {
		return false, err
	}
	b, err := os.ReadFile(path)
	return bytes.Contains(b, []byte("BEGIN NATS USER JWT")), err
}
