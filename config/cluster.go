package config

import (
	"net/url"
	"slices"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/stream/journal/replicated"
)

// A Cluster is where the record is kept beside this machine.
type Cluster struct {
	Servers         []string // nats:// and tls:// addresses; with Own, those of the centre
	Replicas        int
	Credentials, CA string // files; "" for none
	Record          string
	Machine, Pages  string // "" for the host's name, and for none

	// Own says that the log is in a server of this machine, known as Domain at the centre;
	// Shows, that this machine only shows what others write: the one with that Domain, or
	// with none those whose log is on the same servers.
	Own, Shows bool
	Domain     string

	// Reads says that this machine reads bridges, Judges that it judges and shows the
	// pages; one of them, or both,
	// or none where it Shows.
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
	if f.Own != nil {
		out.Own, out.Domain, out.Servers = true, string(f.Own.Domain), slices.Clone(f.Own.Centre)
	}
	if n := len(out.Record); n > replicated.LongestName && !r.doc.Faulty(path.With("record")) {
		r.doc.Report(path.With("record"), "record has %d characters: give at most %d", n, replicated.LongestName)
	}
	r.roles(out)
	if (out.Judges || out.Shows || out.Own) && r.file.Data == "" && !r.doc.Faulty(tree.Path{"data"}) {
		r.doc.Report(path, "cluster needs a folder for this machine's own copy of the record: give data")
	}
	if f.Replicas%2 == 0 && !r.doc.Faulty(path.With("replicas")) {
		r.doc.Report(path.With("replicas"), "replicas is %d, which survives no more than %d does, as a majority decides: give 1, 3 or 5", f.Replicas, f.Replicas-1)
	}
	tls := false
	for i, s := range out.Servers {
		at := path.With("servers", i)
		if out.Own {
			at = path.With("own", "centre", i)
		}
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
	f, path := r.file.Cluster, tree.Path{"cluster", "roles"}
	given := map[shape.Role]bool{}
	for _, role := range f.Roles {
		given[role] = true
	}
	out.Reads, out.Judges = given["ingest"], given["judge"]
	switch {
	case r.doc.Faulty(path):
	case len(given) == 0:
		out.Reads, out.Judges = true, true
	case given["serve"] && len(given) == 1:
		out.Shows, out.Domain = true, string(f.Domain)
	case given["judge"] != given["serve"]:
		r.doc.Report(path, "whoever judges shows the pages: give judge and serve together, or neither; serve alone shows from afar what others judge")
	}
	r.own(out)
}

// own checks where the log is, if that may be this machine.
func (r *reader) own(out *Cluster) {
	f, path := r.file.Cluster, tree.Path{"cluster"}
	switch servers := r.doc.Has(path.With("servers")); {
	case servers && f.Own != nil:
		r.doc.Report(path.With("own"), "the log is either on servers or on this machine: give servers or own")
	case !servers && f.Own == nil:
		r.doc.Report(path, "cluster does not say where the log is: give servers")
	}
	if f.Own != nil {
		if r.doc.Has(path.With("replicas")) && f.Replicas != 1 {
			r.doc.Report(path.With("replicas"), "replicas is %d, and own is one server: leave it out", f.Replicas)
		}
		out.Replicas = 1
		if !out.Reads || !out.Judges || len(f.Shares) > 0 {
			r.doc.Report(path.With("own"), "a machine with a server of its own does all the work of a ward by itself: leave roles and shares out")
		}
	}
	if f.Domain != "" && !out.Shows {
		r.doc.Report(path.With("domain"), "domain is for a machine that shows what another one writes: give roles: [serve], or leave it out")
	}
	if out.Shows && len(f.Shares) > 0 {
		r.doc.Report(path.With("shares"), "a machine that only shows a record has no shares: leave them out")
	}
	if out.Shows && !OnLoopback(r.file.Web.Listen) {
		r.doc.Report(tree.Path{"web", "listen"}, "listen is %q, and a machine that only shows a record asks nobody who he is: give a port of 127.0.0.1, behind a proxy that does", tree.Clip(r.file.Web.Listen))
	}
}
