package config

import (
	"slices"
	"strings"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
	"weald/stream/journal/replicated"
)

// A Share is some bridges, and the places that rest on them, which one machine reads and
// judges at a time.
type Share struct {
	ID      string
	Listen  string
	Bridges []string
}

// shareMark stands between the path of a file and the name of one of its shares.
const shareMark = "#"

// cutShare parts what a configuration is called into the file and the share of it, ""
// for the whole.
func cutShare(name string) (file, share string) {
	i := strings.LastIndex(name, shareMark)
	if i < 1 || new(shape.ID).UnmarshalText([]byte(name[i+1:])) != nil {
		return name, ""
	}
	return name[:i], name[i+1:]
}

// File returns the path of the file that c was read from.
func (c *Config) File() string { file, _ := cutShare(c.Path); return file }

// Share returns which of the shares of its file c is, "" for the whole of it.
func (c *Config) Share() string { _, share := cutShare(c.Path); return share }

// Named returns what Parse takes to read another version of c that is called name: the
// same share of it.
func (c *Config) Named(name string) string {
	if share := c.Share(); share != "" {
		name += shareMark + share
	}
	return name
}

// Shares returns what Load takes for each of the shares of c; nil where it is not
// divided.
func (c *Config) Shares() (paths []string) {
	if c.Cluster == nil {
		return nil
	}
	for _, s := range c.Cluster.Shares {
		paths = append(paths, c.Path+shareMark+s.ID)
	}
	return paths
}

// shares checks that each share has places of its own, and that every place is in one
// with all that it rests on.
func (r *reader) shares(f *shape.Cluster) (out []Share) {
	seen := map[string]tree.Path{}
	of := map[string]string{} // shares, by bridge
	var bridges []string
	for _, b := range r.file.Bridges {
		bridges = append(bridges, string(b.ID))
	}
	for i, s := range f.Shares {
		path := tree.Path{"cluster", "shares", i}
		one := Share{ID: string(s.ID), Listen: s.Listen}
		r.unique(seen, one.ID, "share", path.With("id"))
		if at := path.With("listen"); !r.doc.Faulty(at) {
			if _, _, ok := r.pages(s.Listen, at); ok {
				r.port(s.Listen, "share "+one.ID, at)
			}
		}
		if len(f.Record)+1+len(one.ID) > replicated.LongestName {
			r.doc.Report(path.With("id"), "the record of the share would be called %s-%s: give names that have at most %d characters together", f.Record, one.ID, replicated.LongestName-1)
		}
		for k, b := range s.Bridges {
			switch other, taken := of[string(b)]; {
			case !slices.Contains(bridges, string(b)):
				r.doc.Report(path.With("bridges", k), "there is no bridge %q: %s", b, choose(string(b), bridges))
				continue
			case taken:
				r.doc.Report(path.With("bridges", k), "bridge %s is in share %s already: one machine reads it", b, other)
				continue
			}
			of[string(b)] = one.ID
			one.Bridges = append(one.Bridges, string(b))
		}
		out = append(out, one)
	}
	if len(out) > 0 {
		r.apart(of)
	}
	return out
}

// apart reports what the shares cannot be told apart by, where of says whose each bridge is.
func (r *reader) apart(of map[string]string) {
	listener := ""
	for i, b := range r.file.Bridges {
		share := of[string(b.ID)]
		if share == "" {
			r.doc.Report(tree.Path{"bridges", i}, "bridge %s is in none of the shares, so that nobody would read it: name it in one of cluster.shares", b.ID)
		}
		if b.Link.MQTT == nil || !b.Link.MQTT.Listener || share == "" {
			continue
		}
		if listener != "" && listener != share {
			r.doc.Report(tree.Path{"bridges", i, "link"}, "the bridge connects to the daemon's own MQTT listener, as one of share %s does, and each share may be on another machine: have them in one share, or use a site's broker", listener)
		}
		listener = share
	}
	r.whole(of)
	if r.file.Web.OIDC != nil {
		r.doc.Report(tree.Path{"web", "oidc"}, "a directory sends people back to one address, and each share has pages of its own: leave oidc out, or shares")
	}
	if h := r.file.Heartbeat; h != nil && h.Webhook != nil {
		r.doc.Report(tree.Path{"heartbeat", "webhook"}, "every share would beat alike, so that nobody noticed that one has fallen silent: give topic, below which each share has its own")
	}
}

// whole reports places that rest on bridges of two shares, and shares without any.
func (r *reader) whole(of map[string]string) {
	used := map[string]bool{}
	for i := range r.plan.Places {
		first := ""
		for _, bridge := range bridgesOf(&r.plan, i) {
			share := of[bridge]
			if used[share] = true; first != "" && share != "" && share != first {
				r.doc.Report(tree.Path{"places", i}, "place %s rests on bridges of the shares %s and %s: have all of them in one, as one machine has to judge it", r.plan.Places[i].ID, first, share)
				break
			}
			first = share
		}
	}
	if len(r.doc.Problems()) > 0 {
		return // which may be why
	}
	for i, s := range r.file.Cluster.Shares {
		if !used[string(s.ID)] {
			r.doc.Report(tree.Path{"cluster", "shares", i}, "no place rests on the bridges of share %s: give each share places, or leave it out", s.ID)
		}
	}
}

// bridgesOf lists the bridges that a place rests on.
func bridgesOf(plan *rules.Plan, place int) (ids []string) {
	for k := range plan.Sources {
		if bridge, _, _ := strings.Cut(plan.Sources[k].ID, "/"); plan.Places[place].Uses(k) && !slices.Contains(ids, bridge) {
			ids = append(ids, bridge)
		}
	}
	return ids
}
