package main

import (
	"context"
	"log/slog"

	"weald/config"
	"weald/stream/access"
	"weald/webui/gate"
)

// let reads who may do what, and lets the gate go by it where the configuration has
// accounts. A nil book does nothing: a configuration without a record has none.
func (b *book) let(ctx context.Context, c *config.Config, g *gate.Gate, log *slog.Logger) (err error) {
	if b == nil {
		return nil
	}
	if b.access, err = access.Read(ctx, b.log, access.Limits{Idle: c.Idle, Longest: c.Longest}, b.now()); err != nil {
		return err
	}
	g.Seen = b.seen
	if g.Now = b.now; c.Accounts {
		g.Access = b.access
		if !b.access.Any() {
			log.Warn("nobody can log in yet: make the first account on this machine with weald account add NAME --role admin -c FILE")
		}
	}
	return nil
}
