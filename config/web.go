package config

import (
	"net"
	"strconv"
	"time"

	"weald/config/internal/tree"
)

// listen checks the address of the pages. Without TLS and accounts anyone who
// reaches it may read everything, so only this machine may reach it.
func (r *reader) listen() string {
	listen, path := r.file.Web.Listen, tree.Path{"web", "listen"}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		r.doc.Report(path, "listen is %q: give an address and a port, such as 127.0.0.1:8420", listen)
		return listen
	}
	r.ports = append(r.ports, listener{host, port, "web"})
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || strconv.FormatUint(n, 10) != port {
		r.doc.Report(path, "listen has the port %q: give a number from 0 to 65535", port)
	}
	if !isLoopback(host) {
		r.doc.Report(path, "listen is %q, which others can reach: anything but loopback requires tls and accounts, "+
			"which are not available in this version; give 127.0.0.1:%s", listen, portOr(port))
	}
	return listen
}

func portOr(port string) string {
	if port == "" {
		return "8420"
	}
	return port
}

// The bounds of a log-in: shorter ones lock people out while they read, longer ones
// outlast whoever has left the ward.
const (
	leastIdle   = time.Minute
	mostSession = 7 * 24 * time.Hour
)

// accounts checks who has to log in, and for how long that lasts.
func (r *reader) accounts(c *Config) {
	web := &r.file.Web
	c.Accounts = web.Accounts == "required"
	c.Idle, c.Longest = time.Duration(web.Session.Idle), time.Duration(web.Session.Longest)
	if c.Accounts && r.file.Data == "" {
		r.doc.Report(tree.Path{"web", "accounts"}, "accounts are kept in the record, and data: names no folder for it: give one")
	}
	path := tree.Path{"web", "session"}
	switch {
	case c.Idle < leastIdle:
		r.doc.Report(append(path, "idle"), "idle is %v: give at least 1m", c.Idle)
	case c.Longest > mostSession:
		r.doc.Report(append(path, "longest"), "longest is %v: give at most 7d", c.Longest)
	case c.Longest < c.Idle:
		r.doc.Report(append(path, "longest"), "longest is %v, which is less than idle, %v", c.Longest, c.Idle)
	}
}
