package main

import (
	"context"

	"weald/config"
	"weald/stream/access"
	"weald/stream/access/directory"
	"weald/webui/gate"
	"weald/webui/route"
)

// let reads who may do what. Without a record, and so without accounts, nobody is known.
func (d *daemon) let(ctx context.Context, c *config.Config) (err error) {
	if d.store == nil {
		return nil
	}
	if d.access, err = access.Read(ctx, d.record, access.Limits{Idle: c.Idle, Longest: c.Longest}, d.clock.Now()); err != nil {
		return err
	}
	if c.Accounts && !d.access.Any() {
		d.log.Warn("nobody can log in yet: make the first account on this machine with weald account add NAME --role admin -c FILE")
	}
	return nil
}

// gateOf lets the gate of a reign go by that where its configuration has accounts.
func (d *daemon) gateOf(c *config.Config, b *book) (g gate.Gate) {
	if b != nil {
		g.Seen = b.seen
	}
	if g.Now = d.clock.Now; c.Accounts {
		g.Access = d.access
	}
	return g
}

// directoryOf is where people can log in too; nil where the configuration names none.
// Whoever is there while another configuration comes into force begins again.
func directoryOf(c *config.Config) *directory.Directory {
	if c.OIDC == nil {
		return nil
	}
	return directory.New(directory.Settings{
		Issuer: c.OIDC.Issuer, ClientID: c.OIDC.ClientID, Claim: c.OIDC.Claim, Return: c.OIDC.Base + route.Of("directory-return").Path,
	}, c.OIDC.Secret.Read)
}
