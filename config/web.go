package config

import (
	"net"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"weald/config/internal/tree"
)

// A TLS is where the certificate of the pages is.
type TLS struct {
	Certificate, Key string // PEM files; "" for Folder
	Folder           string // of a CA of the daemon's own; "" for Certificate and Key
}

// tlsFolder is the folder in data of the daemon's own CA.
const tlsFolder = "tls"

// mostNames is how many names the pages have; common practice, no source.
const mostNames = 32

// listen checks the address of the pages.
func (r *reader) listen() string {
	listen := r.file.Web.Listen
	if host, port, ok := r.pages(listen, tree.Path{"web", "listen"}); ok {
		r.ports = append(r.ports, listener{host, port, "web"})
	}
	return listen
}

// pages checks an address that pages are served on; false where it is none. Without TLS
// and accounts anyone who reaches it may read everything, so only this machine may
// reach it.
func (r *reader) pages(listen string, path tree.Path) (host, port string, ok bool) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		r.doc.Report(path, "listen is %q: give an address and a port, such as 127.0.0.1:8420", tree.Clip(listen))
		return "", "", false
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || strconv.FormatUint(n, 10) != port {
		r.doc.Report(path, "listen has the port %q: give a number from 0 to 65535", port)
	}
	var missing []string
	for _, key := range []string{"tls", "accounts"} {
		if !r.doc.Has(tree.Path{"web", key}) {
			missing = append(missing, "web."+key)
		}
	}
	if !isLoopback(host) && len(missing) > 0 {
		r.doc.Report(path, "listen is %q, which others can reach: anything but loopback requires tls and accounts; give %s, or 127.0.0.1:%s",
			listen, strings.Join(missing, " and "), portOr(port))
	}
	return host, port, true
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

// hostNames returns those of the file, and the address of listen.
func (r *reader) hostNames() (out []string) {
	path := tree.Path{"web", "names"}
	if len(r.file.Web.Names) > mostNames {
		r.doc.Report(path, "names has %d of them: give at most %d", len(r.file.Web.Names), mostNames)
	}
	for i, n := range r.file.Web.Names {
		if slices.Contains(out, string(n)) && n != "" {
			r.doc.Report(path.With(i), "the name %s is given twice: leave one out", string(n))
			continue
		}
		out = append(out, string(n))
	}
	if host, _, err := net.SplitHostPort(r.file.Web.Listen); err == nil && !anywhere(host) && !slices.Contains(out, host) {
		out = append(out, host)
	}
	return out
}

// tls checks where the certificate of the pages is from; nil where there is none.
func (r *reader) tls(names []string) *TLS {
	t, path := r.file.Web.TLS, tree.Path{"web", "tls"}
	if t == nil {
		return nil
	}
	files := t.Certificate != "" || t.Key != ""
	switch {
	case t.SelfSigned && files:
		r.doc.Report(path.With("self_signed"), "tls has both self_signed and files: give one of them")
	case !t.SelfSigned && !files:
		r.doc.Report(path, "tls has no certificate: give certificate and key, or self_signed: true")
	case files && (t.Certificate == "" || t.Key == ""):
		r.doc.Report(path, "tls has only one of certificate and key: give both, or self_signed: true")
	case t.SelfSigned && r.file.Data == "" && !r.doc.Faulty(tree.Path{"data"}):
		r.doc.Report(path.With("self_signed"), "self_signed needs a folder for its CA: give data")
	case t.SelfSigned && len(names) == 0:
		r.doc.Report(path.With("self_signed"), "self_signed has to know under which names people ask for the pages: give web.names, such as [weald.larch.example]")
	}
	out := &TLS{Certificate: r.path(t.Certificate, r.folder), Key: r.path(t.Key, r.folder)}
	if t.SelfSigned {
		out.Folder = filepath.Join(r.path(r.file.Data, r.folder), tlsFolder)
	}
	return out
}
