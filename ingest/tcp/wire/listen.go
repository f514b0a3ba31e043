package wire

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"sync"
	"syscall"
	"time"
)

// Listen opens address, a host:port with the host left out for every address of
// this machine, for peers. Its error says in plain words what is wrong.
func Listen(ctx context.Context, address string) (net.Listener, error) {
	conf := net.ListenConfig{KeepAliveConfig: KeepAlive}
	l, err := conf.Listen(ctx, "tcp", address)
	switch {
	case err == nil:
		return l, nil
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, Plain(err, "%s is in use by another program or another bridge", address)
	case errors.Is(err, fs.ErrPermission):
		return nil, Plain(err, "this program may not listen on %s: ports below 1024 are for the system", address)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, Plain(err, "%s is no address of this machine", address)
	}
	return nil, fmt.Errorf("listening on %s: %w", address, err)
}

// acceptPause is how long Serve waits where a peer could not be accepted, as
// when this program has too many files open: it must not spin, nor give up.
const acceptPause = 100 * time.Millisecond

// Serve calls peer, each time in a goroutine of its own, with those who connect
// to l, until ctx ends; then it closes l and waits until the calls have
// returned. At most most calls run at a time; who comes beyond that is hung up
// on. A connection is the call's to close.
func Serve(ctx context.Context, l net.Listener, most int, peer func(context.Context, net.Conn)) {
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	var calls sync.WaitGroup
	defer calls.Wait()
	room := make(chan struct{}, most)
	for {
		c, err := l.Accept()
		if ctx.Err() != nil {
			if err == nil {
				c.Close()
			}
			return
		}
		if err != nil {
			select {
			case <-ctx.Done():
			case <-time.After(acceptPause):
			}
			continue
		}
		select {
		case room <- struct{}{}:
			calls.Go(func() {
				defer func() { <-room }()
				peer(ctx, c)
			})
		default:
			c.Close()
		}
	}
}
