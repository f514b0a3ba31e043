package main

import (
	"context"

	"weald/config"
	"weald/stream/access"
	"weald/webui/gate"
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
