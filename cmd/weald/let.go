package main

import (
	"context"

	"weald/config"
	"weald/stream/access"
	"weald/webui/gate"
)

// let reads who may do what, and lets the gate go by it where the configuration has
// accounts. A nil book does nothing: a configuration without a record has none.
func (b *book) let(ctx context.Context, c *config.Config, g *gate.Gate) (err error) {
	if b == nil {
		return nil
	}
	if b.access, err = access.Read(ctx, b.store, access.Limits{Idle: c.Idle, Longest: c.Longest}, b.now()); err != nil {
		return err
	}
	if g.Now = b.now; c.Accounts {
		g.Access = b.access
	}
	return nil
}
