package config

import (
	"net/url"
	"slices"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
)

// A Cluster is where the record is kept beside this machine.
type Cluster struct {
	Servers         []string // nats:// and tls:// addresses
	Replicas        int
	Credentials, CA string // files; "" for none
	Record          string
	Machine, Pages  string // "" for the host's name, and for none

	// Reads says that this machine reads bridges, Judges that it judges and shows the
	// pages; one of them, or both.
	Reads, Judges bool

	// Shares are the parts into which the file divides the places, in its order. A
	// share itself has none.
	Shares []Share
}

// cluster checks where the record is kept beside this machine; nil where it is not.
func (r *reader) cluster() *Cluster {
	f, path := r.file.Cluster, tree.Path{"cluster"}
	if f == nil {
		return nil
	}
	out := &Cluster{
		Servers: slices.Clone(f.Servers), Replicas: f.Replicas, Credentials: r.path(f.Credentials, r.folder), CA: r.path(f.CA, r.folder),
		Record: string(f.Record), Machine: string(f.Machine), Pages: f.Pages,
	}
	r.roles(out)
	if out.Judges && r.file.Data == "" && !r.doc.Faulty(tree.Path{"data"}) {
		r.doc.Report(path, "cluster needs a folder for this machine's own copy of the record: give data")
	}
	if f.Replicas%2 == 0 && !r.doc.Faulty(path.With("replicas")) {
		r.doc.Report(path.With("replicas"), "replicas is %d, which survives no more than %d does, as a majority decides: give 1, 3 or 5", f.Replicas, f.Replicas-1)
	}
	tls := false
	for i, s := range f.Servers {
		at := path.With("servers").With(i)
		u, err := url.Parse(s)
		switch {
		case r.doc.Faulty(at):
		case err != nil || u.Host == "" || u.Scheme != "nats" && u.Scheme != "tls" || u.Path != "" || u.RawQuery != "":
			r.doc.Report(at, "the server is %q: give nats:// or tls:// and a host and port, such as tls://log-1.larch.example:4222", tree.Clip(s))
		case u.User != nil:
			r.doc.Report(at, "the server's address has a user or password in it, which everybody sees who sees this file: give credentials")
		case u.Scheme == "nats" && !isLoopback(u.Hostname()):
			r.doc.Report(at, "%s is on another machine, and what goes there without TLS can be read on its way: give tls://%s", u.Host, u.Host)
		}
		tls = tls || err == nil && u.Scheme == "tls"
	}
	if f.CA != "" && !tls {
		r.doc.Report(path.With("ca"), "ca is given, but no server is asked with tls://: leave it out")
	}
	if f.Pages != "" {
		if u, err := url.Parse(f.Pages); err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" {
			r.doc.Report(path.With("pages"), "pages is %q: give the address of this machine's pages, such as https://weald-a.larch.example:8420", tree.Clip(f.Pages))
		}
	}
	out.Shares = r.shares(f)
	return out
}

// roles checks what this machine does.
func (r *reader) roles(out *Cluster) {
	path := tree.Path{"cluster", "roles"}
	given := map[shape.Role]bool{}
	for _, role := range r.file.Cluster.Roles {
		given[role] = true
	}
	out.Reads, out.Judges = given["ingest"], given["judge"]
	switch {
	case r.doc.Faulty(path):
	case len(given) == 0:
		out.Reads, out.Judges = true, true
	case given["judge"] != given["serve"]:
		r.doc.Report(path, "whoever judges shows the pages: give judge and serve together, or neither")
	}
}
