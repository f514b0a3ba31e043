package config

import (
	"net"
	"net/url"
	"path/filepath"
	"slices"

	"go.yaml.in/yaml/v4"

	"weald/rules"
)

// share returns one of the shares of c: a configuration as if it had a file of its own.
func (c *Config) share(id string) (*Config, Problems) {
	var ids []string
	for _, s := range c.sharesOf() {
		ids = append(ids, s.ID)
	}
	i := slices.Index(ids, id)
	if i < 0 {
		return nil, Problems{{File: c.Path, Message: "there is no share \"" + id + "\": " + choose(id, ids)}}
	}
	s := &c.Cluster.Shares[i]
	text, err := c.shareText(s)
	if err != nil {
		return nil, Problems{{File: c.Path, Message: "share " + id + ": " + err.Error()}}
	}
	out, found := parseFile(c.Path, text)
	if len(found) > 0 { // the whole is in order
		for k := range found {
			found[k] = Problem{File: c.Path, Message: "share " + id + ": " + found[k].Message}
		}
		return nil, found
	}
	out.Path, out.Text, out.TLS = c.Path+shareMark+id, c.Text, c.TLS
	for k := range out.Notify {
		if t := out.Notify[k].Topic; t != nil {
			t.ClientID += "-" + id
		}
	}
	if h := out.Heartbeat; h != nil {
		h.Topic.Name += "/" + id
		h.Topic.ClientID += "-" + id
	}
	return out, nil
}

func (c *Config) sharesOf() []Share {
	if c.Cluster == nil {
		return nil
	}
	return c.Cluster.Shares
}

// shareText writes the file that a share would have of its own.
func (c *Config) shareText(s *Share) ([]byte, error) {
	root, err := rootOf(c.Text)
	if err != nil {
		return nil, err
	}
	root = plain(root)
	set := func(n *yaml.Node, key, value string) {
		drop(n, key)
		n.Content = append(n.Content, text(key), text(value))
	}
	set(root, "data", filepath.Join(c.file.Data, s.ID))
	web := valueOf(root, "web")
	if web == nil || web.Kind != yaml.MappingNode {
		drop(root, "web")
		web = &yaml.Node{Kind: yaml.MappingNode}
		root.Content = append(root.Content, text("web"), web)
	}
	set(web, "listen", s.Listen)
	cluster := valueOf(root, "cluster")
	set(cluster, "record", c.Cluster.Record+"-"+s.ID)
	if c.Cluster.Pages != "" {
		set(cluster, "pages", withPort(c.Cluster.Pages, s.Listen))
	}
	drop(cluster, "shares")

	sub := rules.Plan{Sources: c.plan.Sources, Rules: c.plan.Rules}
	keep(valueOf(root, "bridges"), func(i int) bool { return slices.Contains(s.Bridges, c.Bridges[i].ID) })
	keep(valueOf(root, "places"), func(i int) bool {
		in := slices.Contains(s.Bridges, bridgesOf(c.plan, i)[0])
		if in {
			sub.Places = append(sub.Places, c.plan.Places[i])
		}
		return in
	})
	lost := map[int]bool{} // rules that find nothing at its places
	for _, p := range sub.Check() {
		if p.Path[0] == "rules" {
			lost[p.Path[1].(int)] = true
		}
	}
	keep(valueOf(root, "rules"), func(i int) bool { return !lost[i] })
	if !slices.ContainsFunc(c.Bridges, func(b Bridge) bool { return b.Link.Client != nil && slices.Contains(s.Bridges, b.ID) }) {
		drop(root, "mqtt")
	}
	return yaml.Marshal(root)
}

// withPort returns an address with the port of another.
func withPort(address, of string) string {
	u, err := url.Parse(address)
	_, port, err2 := net.SplitHostPort(of)
	if err != nil || err2 != nil {
		return address
	}
	u.Host = net.JoinHostPort(u.Hostname(), port)
	return u.String()
}

// plain returns a copy of n in which aliases are written out.
func plain(n *yaml.Node) *yaml.Node {
	out := *resolved(n)
	out.Anchor = ""
	out.Content = nil
	for _, child := range resolved(n).Content {
		out.Content = append(out.Content, plain(child))
	}
	return &out
}

// text is a node of text.
func text(s string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s} }

// drop takes a key out of a mapping.
func drop(n *yaml.Node, key string) {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			n.Content = slices.Delete(n.Content, i, i+2)
			return
		}
	}
}

// keep leaves those members of a list that are wanted.
func keep(list *yaml.Node, wanted func(int) bool) {
	if list == nil {
		return
	}
	kept := list.Content[:0]
	for i, n := range list.Content {
		if wanted(i) {
			kept = append(kept, n)
		}
	}
	list.Content = kept
}
