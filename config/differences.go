package config

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"

	"weald/config/internal/shape"
)

// A Difference is one thing that two configurations say differently.
type Difference struct {
	What string // "bridge", "place", "rule", "sender"; or "setting", with its key as ID
	ID   string
	How  string // "new", "gone" or "changed"
}

// String says it in words.
func (d Difference) String() string {
	how := "is " + d.How
	if d.How == "changed" {
		how = "has changed"
	}
	return fmt.Sprintf("%s %s %s", d.What, d.ID, how)
}

// Since lists what c says differently from an older configuration, as the files are
// written: files that they only name may have changed too. Order is no difference.
func (c *Config) Since(old *Config) (out []Difference) {
	a, b := &old.file, &c.file
	for _, s := range []struct {
		key     string
		was, is any
	}{{"data", a.Data, b.Data}, {"keep", a.Keep, b.Keep}, {"web", a.Web, b.Web}, {"mqtt", a.MQTT, b.MQTT}, {"heartbeat", a.Heartbeat, b.Heartbeat}, {"self", a.Self, b.Self}} {
		if !reflect.DeepEqual(s.was, s.is) {
			out = append(out, Difference{"setting", s.key, "changed"})
		}
	}
	out = append(out, between("bridge", a.Bridges, b.Bridges, func(b shape.Bridge) string { return string(b.ID) })...)
	out = append(out, between("place", a.Places, b.Places, func(p shape.Place) string { return string(p.ID) })...)
	out = append(out, between("rule", a.Rules, b.Rules, func(r shape.Rule) string { return string(r.ID) })...)
	return append(out, between("sender", a.Notify, b.Notify, func(s shape.Sender) string { return string(s.ID) })...)
}

// between compares two lists whose members have ids.
func between[T any](what string, was, is []T, id func(T) string) (out []Difference) {
	find := func(all []T, name string) int { return slices.IndexFunc(all, func(x T) bool { return id(x) == name }) }
	for _, x := range was {
		if find(is, id(x)) < 0 {
			out = append(out, Difference{what, id(x), "gone"})
		}
	}
	for _, x := range is {
		if i := find(was, id(x)); i < 0 {
			out = append(out, Difference{what, id(x), "new"})
		} else if !reflect.DeepEqual(was[i], x) {
			out = append(out, Difference{what, id(x), "changed"})
		}
	}
	slices.SortStableFunc(out, func(a, b Difference) int { return cmp.Compare(a.ID, b.ID) })
	return out
}
