package main

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"

	"golang.org/x/sync/errgroup"

	"weald/config"
	"weald/webui"
)

// A face is the port of a machine on which a page is served that is no daemon's.
type face struct {
	net.Listener
	secure *secure
	log    *slog.Logger
}

// openFace opens the port of a configuration's pages.
func openFace(c *config.Config, log *slog.Logger) (*face, error) {
	l, err := listen(c.Listen)
	if err != nil {
		return nil, err
	}
	secure, err := openSecure(c, log)
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return &face{l, secure, log}, nil
}

// address is where the page is found.
func (f *face) address() string { return f.secure.scheme() + f.Addr().String() }

// serve serves page in a group until ctx ends, and looks after the certificate.
func (f *face) serve(ctx context.Context, group *errgroup.Group, page http.Handler) {
	group.Go(func() error { return webui.Serve(ctx, f, f.secure.config(), page, f.log) })
	if f.secure != nil {
		group.Go(func() error { return f.secure.Run(ctx) })
	}
}
