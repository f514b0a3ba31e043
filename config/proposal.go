package config

import (
	"fmt"
	"strconv"
	"time"

	"go.yaml.in/yaml/v4"

	"weald/rules"
)

// Proposal returns a piece of YAML that has one rule of the file as it is written
// there, with another limit and another on-delay: what WithRules takes, and what a
// person can put in the rule's place. upper says which bound the limit is.
func (c *Config) Proposal(rule string, upper bool, limit float64, delay time.Duration) (string, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(c.Text), &doc); err != nil || len(doc.Content) == 0 {
		return "", fmt.Errorf("the configuration as it was read: %v", err)
	}
	found := ruleNode(valueOf(doc.Content[0], "rules"), rule)
	if found == nil {
		return "", fmt.Errorf("the configuration has no rule %q", rule)
	}
	bound := boundNode(valueOf(found, "limit"), upper)
	if bound == nil {
		return "", fmt.Errorf("rule %q: %w", rule, rules.ErrNoLimit)
	}
	set(bound, strconv.FormatFloat(limit, 'f', -1, 64))
	on := valueOf(found, "on_delay")
	if on == nil {
		on = &yaml.Node{Kind: yaml.ScalarNode}
		found.Content = append(found.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: "on_delay"}, on)
	}
	set(on, written(delay))
	out, err := yaml.Marshal(map[string]any{"rules": []*yaml.Node{found}})
	return string(out), err
}

// valueOf returns the value of a key of a mapping, nil if there is none.
func valueOf(n *yaml.Node, key string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return resolved(n.Content[i+1])
		}
	}
	return nil
}

func resolved(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode {
		return n.Alias
	}
	return n
}

func ruleNode(list *yaml.Node, id string) *yaml.Node {
	if list == nil {
		return nil
	}
	for _, n := range list.Content {
		if v := valueOf(resolved(n), "id"); v != nil && v.Value == id {
			return resolved(n)
		}
	}
	return nil
}

func boundNode(limit *yaml.Node, upper bool) *yaml.Node {
	if !upper {
		return valueOf(limit, "below")
	}
	if outside := valueOf(limit, "outside"); outside != nil && len(outside.Content) == 2 {
		return resolved(outside.Content[1])
	}
	return valueOf(limit, "above")
}

func set(n *yaml.Node, text string) {
	n.Value, n.Tag, n.Style = text, "", 0
}

// written writes a duration as the file does: 1h30m, and not 1h30m0s.
func written(d time.Duration) string {
	if d == 0 {
		return "0s"
	}
	out := ""
	for _, unit := range []struct {
		of   time.Duration
		name string
	}{{time.Hour, "h"}, {time.Minute, "m"}} {
		if n := d / unit.of; n > 0 {
			out += strconv.FormatInt(int64(n), 10) + unit.name
			d -= n * unit.of
		}
	}
	if d > 0 {
		out += d.String()
	}
	return out
}
