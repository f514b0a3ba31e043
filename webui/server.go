package webui

import (
	"context"
	"crypto/tls"
	"errors"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"time"

	"weald/webui/api"
	"weald/webui/gate"
	"weald/webui/route"
)

// Options are what New needs.
type Options struct {
	API     api.Options
	Live    http.Handler // the live connection
	Metrics http.Handler
	Pages   fs.FS // Pages() but for tests

	// Gate knows who may ask for what; its zero value lets everybody do everything.
	Gate gate.Gate

	// Hosts are names and addresses under which the daemon may be asked, beside
	// its own addresses and, over loopback, localhost.
	Hosts []string
}

// maxBody bounds what a request may carry: notes of people.
const maxBody = 1 << 20

// New returns everything that the daemon serves. Its error is about how the
// program was built.
func New(o Options) (http.Handler, error) {
	pages, err := newPages(o.Pages)
	if err != nil {
		return nil, err
	}
	o.API.Access, o.API.Now = o.Gate.Access, o.Gate.Now
	mux := gate.NewMux(&o.Gate)
	api.Register(mux, o.API)
	mux.Handle(route.Of("live").Pattern(), o.Live)
	mux.Handle(route.Of("metrics").Pattern(), o.Metrics)
	mux.ServeMux.Handle("/api/", api.Elsewhere(mux))
	mux.Elsewhere("/", route.Of("pages"), pages)
	if err := mux.Whole(); err != nil {
		return nil, err
	}
	answers := http.NewServeMux()
	answers.Handle("/api/", zip(mux))
	answers.Handle("/", mux)

	crossOrigin := http.NewCrossOriginProtection()
	crossOrigin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		api.Problem(w, http.StatusForbidden, "a page of another origin may not do that")
	}))
	handler := http.MaxBytesHandler(crossOrigin.Handler(answers), maxBody)
	handler = crowd(&tally{most: mostRequests, each: mostRequestsFromOne}, changes(newChanges(), handler))
	return headers(hosts(o.Hosts, handler)), nil
}

// How long a client may take.
const (
	headerWithin = 5 * time.Second
	readWithin   = 30 * time.Second
	writeWithin  = 60 * time.Second // live connections set their own
	idleFor      = 2 * time.Minute
	closeWithin  = 3 * time.Second
	maxHeader    = 32 << 10
)

// Serve answers on l until ctx ends, then lets requests that are running finish
// for a moment. It returns the cause of the end. Live connections are closed by
// whoever runs them. secure is for TLS, nil for none.
func Serve(ctx context.Context, l net.Listener, secure *tls.Config, handler http.Handler, log *slog.Logger) error {
	l = &door{Listener: l, tally: tally{most: mostConnections, each: mostFromOne}}
	if secure != nil {
		l = tls.NewListener(l, secure)
	}
	server := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: headerWithin,
		ReadTimeout:       readWithin,
		WriteTimeout:      writeWithin,
		IdleTimeout:       idleFor,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
	}
	stopped := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(stopped)
		patience, cancel := context.WithTimeout(context.Background(), closeWithin)
		defer cancel()
		if server.Shutdown(patience) != nil {
			server.Close()
		}
	})
	err := server.Serve(l)
	if !stop() {
		<-stopped
	}
	if errors.Is(err, http.ErrServerClosed) {
		return context.Cause(ctx)
	}
	return err
}
