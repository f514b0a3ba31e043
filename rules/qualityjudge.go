package rules

import (
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/state"
)

// A Quality is true while some channel of a site has a fault. The alert is the
// site's.
type Quality struct {
	Of []Fault // which faults; not empty
}

// A Fault is what a channel of a site can have.
type Fault string

// The faults, in the order in which they are named.
const (
	Silent    Fault = "silent"    // nothing has been delivered for longer than values last
	Missing   Fault = "missing"   // scans come without a value of the channel: not delivered, at the rail, withheld or not calibrated
	Disagrees Fault = "disagrees" // with the other members, so that it was dropped
)

// Faults are all faults.
var Faults = []Fault{Silent, Missing, Disagrees}

// words of the faults.
var faultWords = map[Fault]string{
	Silent: "is silent", Missing: "has no value", Disagrees: "disagrees with the others and is left out",
}

// A qualityJudge looks at the members of a site.
type qualityJudge struct {
	still
	of   []Fault
	site int
	left time.Duration // until the first of its sources falls silent, if nothing is heard; 0 for never
}

func (j *qualityJudge) look(p *place) {
	j.left = 0
	if !slices.Contains(j.of, Silent) {
		return
	}
	for _, f := range p.sites[j.site].feeds {
		if until := p.feeds[f].until; until != sample.Never && (j.left == 0 || until.Sub(p.at) < j.left) {
			j.left = until.Sub(p.at)
		}
	}
}

func (j *qualityJudge) turns() (time.Duration, bool) { return j.left, j.left > 0 }
func (j *qualityJudge) pass(span time.Duration)      { j.left = max(0, j.left-span) }

// Code implements state.Coder.
func (j *qualityJudge) Code(c *state.Codec) { c.Duration(&j.left) }

// condition is never unknown: that nothing is known is what is asked.
func (j *qualityJudge) condition(p *place) (sample.Truth, bool) {
	for i := range p.sites[j.site].members {
		if j.fault(p, i) != "" {
			return sample.Yes, false
		}
	}
	return sample.No, false
}

// fault returns the first of the faults asked for that a member has, "" for none.
func (j *qualityJudge) fault(p *place, member int) Fault {
	s := &p.sites[j.site]
	silent := p.feeds[s.feeds[member]].until == sample.Never
	for _, f := range j.of {
		if f == Silent && silent ||
			f == Missing && !silent && !s.members[member].known() ||
			f == Disagrees && s.members[member].doubt.Raised {
			return f
		}
	}
	return ""
}

// measured gives the number of channels with a fault, of those that may have one.
func (j *qualityJudge) measured(p *place, e *alert.Event) {
	e.Signal, e.Unit, e.Value, e.U, e.Limit = p.signals[p.sites[j.site].signal].Name, "1", 0, sample.Unknown, 0
	for i := range p.sites[j.site].members {
		if j.fault(p, i) != "" {
			e.Value++
		}
	}
}

func (j *qualityJudge) words(p *place, e *alert.Event) said {
	s := &p.sites[j.site]
	var bad []string
	for i, c := range s.spec.Channels {
		if f := j.fault(p, i); f != "" {
			bad = append(bad, p.sources[c.Source].ID+"/"+plain(float64(c.Index))+" "+faultWords[f])
		}
	}
	asked := "with a faulty channel"
	reading := strings.Join(bad, ", ")
	if reading == "" {
		reading = "all channels are fine"
	}
	return said{subject: spoken(s.spec.ID), is: asked, asked: asked, reading: reading}
}
