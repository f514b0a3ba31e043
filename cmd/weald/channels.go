package main

import (
	"fmt"
	"slices"
	"strings"

	"weald/ingest"
	"weald/ingest/health"
	"weald/rules"
)

// A member is a site or a region: channels that a pressure rests on.
type member struct {
	name  string // "site ankle at bench-1"
	cells bool
	of    int // channels, of whatever source
}

// members are all sites and regions of a plan, and how the sources' channels
// make them up.
type members struct {
	all      []member
	groups   [][][]int    // by source: the channels of each group
	whose    [][]int      // by source and group: an index into all
	together [][][]int    // by source: its channels of each site that has several of them
	mats     []*rules.Mat // by source: what lays it out as a mat, nil for nothing
	layout   int          // the number of the layout that ingest has of it
}

// membersOf looks at every channel of a plan once: a hospital has thousands.
func membersOf(plan *rules.Plan) *members {
	n := len(plan.Sources)
	m := &members{groups: make([][][]int, n), whose: make([][]int, n), together: make([][][]int, n), mats: make([]*rules.Mat, n)}
	for i := range plan.Places {
		p := &plan.Places[i]
		for k := range p.Sites {
			m.site(p.ID, &p.Sites[k])
		}
		if p.Mat == nil {
			continue
		}
		if m.mats[p.Mat.Source] == nil {
			m.mats[p.Mat.Source] = p.Mat
		}
		for _, region := range p.Mat.Regions {
			m.all = append(m.all, member{name: fmt.Sprintf("region %s at %s", region.ID, p.ID), cells: true, of: len(region.Cells)})
			m.add(p.Mat.Source, region.Cells)
		}
	}
	return m
}

// site takes in a site, whose channels may be of several sources.
func (m *members) site(place string, site *rules.Site) {
	m.all = append(m.all, member{name: fmt.Sprintf("site %s at %s", site.ID, place), of: len(site.Channels)})
	for i, c := range site.Channels {
		if slices.ContainsFunc(site.Channels[:i], func(other rules.Channel) bool { return other.Source == c.Source }) {
			continue
		}
		channels := channelsOf(site, c.Source)
		m.add(c.Source, channels)
		if len(channels) > 1 {
			m.together[c.Source] = append(m.together[c.Source], channels)
		}
	}
}

// add gives channels of a source to the newest member.
func (m *members) add(source int, channels []int) {
	m.groups[source] = append(m.groups[source], channels)
	m.whose[source] = append(m.whose[source], len(m.all)-1)
}

// channelsOf returns those channels of a site that are of a source.
func channelsOf(site *rules.Site, source int) (out []int) {
	for _, c := range site.Channels {
		if c.Source == source {
			out = append(out, c.Index)
		}
	}
	return out
}

// lame says, by source, which sites and regions are without half of their
// channels, or more, since these do not answer.
func (m *members) lame(bridges []ingest.Status) map[int]string {
	mute := make([]int, len(m.all))
	m.each(bridges, func(_, member, n int) { mute[member] += n })
	words := map[int]string{}
	m.each(bridges, func(source, member, n int) {
		if who := &m.all[member]; n > 0 && 2*mute[member] >= who.of {
			if words[source] != "" {
				words[source] += "; "
			}
			words[source] += who.lame(mute[member])
		}
	})
	return words
}

// complain adds to what is wrong with the sources behind bridges which sites and
// regions are lame.
func (m *members) complain(bridges []ingest.Status) {
	lame := m.lame(bridges)
	for i := range bridges {
		for k := range bridges[i].Sources {
			s := &bridges[i].Sources[k]
			words := lame[s.Index]
			if words == "" {
				continue
			}
			if s.Trouble != "" {
				s.Trouble += "; "
			}
			s.Trouble += words + " (" + strings.TrimSuffix(s.Condition.Channels.Sentence(), ".") + ")"
		}
	}
}

// each calls f for every group of every source with its member, and how many of
// its channels do not answer.
func (m *members) each(bridges []ingest.Status, f func(source, member, mute int)) {
	for i := range bridges {
		for k := range bridges[i].Sources {
			s := &bridges[i].Sources[k]
			if s.Condition.Layout != m.layout {
				continue // of a former configuration still
			}
			for g, n := range s.Condition.Mute {
				f(s.Index, m.whose[s.Index][g], n)
			}
		}
	}
}

// lame says that so many of a member's channels do not answer.
func (who *member) lame(mute int) string {
	noun, verb := "channels", "do"
	if who.cells {
		noun = "cells"
	}
	if who.of == 1 {
		return fmt.Sprintf("the only %s of %s does not answer", strings.TrimSuffix(noun, "s"), who.name)
	}
	if mute == 1 {
		verb = "does"
	}
	return fmt.Sprintf("%d of the %d %s of %s %s not answer", mute, who.of, noun, who.name, verb)
}

// lay tells ingest how the plan lays out a source's channels.
func (m *members) lay(s *ingest.Source) {
	s.Groups, s.Together = m.groups[s.Index], m.together[s.Index]
	if mat := m.mats[s.Index]; mat != nil {
		s.Rows, s.Columns = mat.Rows, mat.Columns
	}
}

// layouts returns how the plan lays out the sources that stand in it at some indices.
func (m *members) layouts(at []int) []ingest.Layout {
	out := make([]ingest.Layout, len(at))
	for k, i := range at {
		s := ingest.Source{Index: i}
		m.lay(&s)
		out[k] = ingest.Layout{Rows: s.Rows, Columns: s.Columns, Together: s.Together, Groups: s.Groups, Number: m.layout}
	}
	return out
}

// faults counts the channels of a source that are not sound. One at the end of
// its range is: there is a load on it.
func faults(r *health.Report) int { return r.Silent + r.Dead + r.Stuck + r.Open + r.Noisy }

// states counts the channels of a source by their state. Every channel is in
// one.
func states(r *health.Report) map[string]int {
	return map[string]int{
		health.Sound.String():  r.Channels - faults(r) - r.Saturated,
		health.Silent.String(): r.Silent, health.Dead.String(): r.Dead, health.Stuck.String(): r.Stuck,
		health.Open.String(): r.Open, health.Saturated.String(): r.Saturated, health.Noisy.String(): r.Noisy,
	}
}
