package config

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// Put returns the text of a file with a piece in it, as Text of a NewPlace, RegionsText
// and Proposal write pieces: places come behind the others, a rule takes the place of the
// one of its name or comes behind the others, regions take the place of those of the mat
// of a place. All else stays as it was written, comments too. Whether the outcome is in
// order is for Parse to say. The error says why a person has to put the piece in by hand.
func Put(text, piece, place string) (string, error) {
	for _, of := range []string{text, piece} {
		if strings.ContainsAny(of, "\r\u0085\u2028\u2029") {
			return "", fmt.Errorf("its lines do not end in line feeds alone: put the piece in by hand")
		}
	}
	file, err := rootOf(text)
	if err != nil {
		return "", fmt.Errorf("the file: %w", err)
	}
	in, err := rootOf(piece)
	if err != nil {
		return "", fmt.Errorf("the piece: %w", err)
	}
	if len(in.Content) != 2 || in.Content[1].Kind != yaml.SequenceNode || len(in.Content[1].Content) == 0 {
		return "", fmt.Errorf("the piece: want places, rules or regions, and nothing else")
	}
	key, list := in.Content[0].Value, in.Content[1]
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	from := strings.Split(strings.TrimRight(piece, "\n"), "\n")
	items, err := blocks(list, from, len(from)+1)
	if err != nil {
		return "", fmt.Errorf("the piece: %w", err)
	}
	switch key {
	case "places", "rules":
		for _, item := range items {
			if lines, err = putItem(lines, key, item); err != nil {
				return "", err
			}
		}
	case "regions":
		if lines, err = putRegions(file, lines, place, items); err != nil {
			return "", err
		}
	default:
		return "", fmt.Errorf("the piece: want places, rules or regions, and not %s", key)
	}
	return strings.Join(lines, "\n") + "\n", nil
}

func rootOf(text string) (*yaml.Node, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		return nil, err
	}
	if len(doc.Content) == 0 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("want keys with values")
	}
	return doc.Content[0], nil
}

// A block is an item of a list as it is written: its lines from the dash on, which stand
// at the left.
type block struct {
	id    string
	lines []string
	at    int // line of the dash, from 0
	next  int // line behind it
	dash  int // column of the dash, from 0
}

// blocks returns the items of a list that is written with dashes; the list ends before
// the line with the number end, from 1. What stands between two items, such as a comment
// and empty lines, belongs to the second.
func blocks(list *yaml.Node, lines []string, end int) (out []block, err error) {
	for i, n := range list.Content {
		b := block{at: n.Line - 1, next: end - 1}
		if b.at < 0 || b.at >= len(lines) || !strings.HasPrefix(strings.TrimLeft(lines[b.at], " "), "- ") {
			return nil, fmt.Errorf("line %d: an item of a list does not begin with its dash on a line of its own: put the piece in by hand", n.Line)
		}
		if v := valueOf(resolved(n), "id"); v != nil {
			b.id = v.Value
		}
		if i+1 < len(list.Content) {
			b.next = list.Content[i+1].Line - 1
		}
		b.next = min(max(b.next, b.at+1), len(lines))
		for b.next > b.at+1 && aside(lines[b.next-1]) {
			b.next--
		}
		b.dash = strings.Index(lines[b.at], "-")
		for _, l := range lines[b.at:b.next] {
			b.lines = append(b.lines, l[min(b.dash, len(l)-len(strings.TrimLeft(l, " "))):])
		}
		out = append(out, b)
	}
	return out, nil
}

// aside reports whether a line is empty or a comment.
func aside(line string) bool {
	t := strings.TrimSpace(line)
	return t == "" || t[0] == '#'
}

func indented(lines []string, by int) []string {
	out := make([]string, len(lines))
	for i, l := range lines {
		if out[i] = l; l != "" {
			out[i] = strings.Repeat(" ", by) + l
		}
	}
	return out
}

// putItem puts an item into a list at the top of a file.
func putItem(lines []string, key string, item block) ([]string, error) {
	root, err := rootOf(strings.Join(lines, "\n"))
	if err != nil {
		return nil, err
	}
	at := -1
	for i := 0; i+1 < len(root.Content); i += 2 {
		if root.Content[i].Value == key {
			at = i
		}
	}
	if at < 0 {
		return slices.Concat(lines, []string{key + ":"}, indented(item.lines, 2)), nil
	}
	list := root.Content[at+1]
	switch {
	case list.Kind != yaml.SequenceNode || len(list.Content) == 0 && list.Line == root.Content[at].Line:
		k := root.Content[at].Line - 1
		return slices.Concat(lines[:k], []string{key + ":"}, indented(item.lines, 2), lines[k+1:]), nil
	case list.Style&yaml.FlowStyle != 0 || len(list.Content) == 0:
		return nil, fmt.Errorf("%s: is written in brackets: put the piece in by hand", key)
	}
	end := len(lines) + 1
	if at+2 < len(root.Content) {
		end = root.Content[at+2].Line
	}
	all, err := blocks(list, lines, end)
	if err != nil {
		return nil, err
	}
	dash := all[0].dash
	if k := slices.IndexFunc(all, func(b block) bool { return key == "rules" && b.id == item.id }); k >= 0 {
		return slices.Concat(lines[:all[k].at], indented(item.lines, dash), lines[all[k].next:]), nil
	}
	last := all[len(all)-1].next
	return slices.Concat(lines[:last], indented(item.lines, dash), lines[last:]), nil
}

// putRegions puts regions under the mat of a place in the place of those that it has.
func putRegions(root *yaml.Node, lines []string, place string, items []block) ([]string, error) {
	mat := valueOf(ruleNode(valueOf(root, "places"), place), "mat")
	switch {
	case mat == nil || mat.Kind != yaml.MappingNode:
		return nil, fmt.Errorf("the file has no place %q with a mat", place)
	case mat.Style&yaml.FlowStyle != 0 || len(mat.Content) == 0:
		return nil, fmt.Errorf("mat: of %s is written in brackets: put the piece in by hand", place)
	}
	indent := mat.Content[0].Column - 1
	piece := append([]string{"regions:"}, func() (all []string) {
		for _, b := range items {
			all = append(all, indented(b.lines, 2)...)
		}
		return all
	}()...)
	piece = indented(piece, indent)
	from, to := -1, -1
	for i := 0; i+1 < len(mat.Content); i += 2 {
		if mat.Content[i].Value == "regions" {
			from = mat.Content[i].Line - 1
		} else if from >= 0 && to < 0 {
			to = mat.Content[i].Line - 1
		}
	}
	if from < 0 {
		from = mat.Content[0].Line - 1
		to = from
	}
	if from >= len(lines) || to > len(lines) || to >= 0 && to < from {
		return nil, fmt.Errorf("mat: of %s is not written as keys below each other: put the piece in by hand", place)
	}
	if to < 0 { // to where something begins that is no deeper than the mat's keys
		for to = from + 1; to < len(lines) && (aside(lines[to]) || len(lines[to])-len(strings.TrimLeft(lines[to], " ")) > indent || strings.HasPrefix(strings.TrimLeft(lines[to], " "), "- ") && len(lines[to])-len(strings.TrimLeft(lines[to], " ")) == indent); to++ {
		}
		for to > from+1 && aside(lines[to-1]) {
			to--
		}
	}
	return slices.Concat(lines[:from], piece, lines[to:]), nil
}
