// Command weald watches thin pressure sensors between a body and what presses
// on it, and tells the right person in time.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)  // a second signal ends at once
	signal.Ignore(syscall.SIGHUP) // a terminal that closes must not end the watching
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}
