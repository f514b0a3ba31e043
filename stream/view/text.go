package view

import (
	"fmt"
	"math"
	"strings"

	"weald/ingest/sample"
	"weald/rules"
)

// All wording about places is in this file; how numbers, durations and times
// are written is in numbers.go.

// text is the one sentence about a place: first what is wrong or on its way,
// then the numbers.
func (b *Builder) text(index int, now *Now) string {
	var parts []string
	if lead := b.lead(index, now); lead != "" {
		parts = append(parts, lead)
	}
	if numbers := b.numbers(index, now); numbers != "" {
		parts = append(parts, numbers)
	}
	if len(parts) == 0 {
		return "nothing is measured here"
	}
	return strings.Join(parts, "; ")
}

// lead says what is wrong, or, failing that, what has been held longest.
func (b *Builder) lead(index int, now *Now) string {
	switch n := len(now.Alerts); {
	case n == 1:
		return now.Alerts[0].Text
	case n == 2:
		return now.Alerts[0].Text + " (and 1 more alert)"
	case n > 2:
		return fmt.Sprintf("%s (and %d more alerts)", now.Alerts[0].Text, n-1)
	}
	var furthest *rules.Progress
	for i := range now.Holds {
		p := &now.Holds[i]
		counts := p.Condition == sample.Yes || p.Used() >= 0.5
		if counts && p.Held > 0 && (furthest == nil || p.Used() > furthest.Used()) {
			furthest = p
		}
	}
	if furthest == nil {
		return ""
	}
	return b.holding(&b.plan.Places[index], furthest)
}

// holding is the sentence about a hold on its way: "pelvis: a cell above 60
// mmHg for 12 min of 30 min".
func (b *Builder) holding(place *rules.Place, p *rules.Progress) string {
	what := words(p.Subject)
	quantity := strings.TrimPrefix(p.Signal, p.Subject+".")
	switch {
	case quantity == "pressure" && isCells(place, p.Subject):
		what += ": a cell"
	case quantity != "pressure" && quantity != "":
		what += " " + words(quantity)
	}
	if bound := b.bound(p); bound != "" {
		what += " " + bound
	}
	what += fmt.Sprintf(" for %s of %s", lasted(p.Held), rules.Duration(p.OnDelay))
	switch p.Condition {
	case sample.No:
		what += ", relieved for now"
	case sample.Maybe:
		what += ", unknown for now"
	}
	return what
}

// bound says what a rule compares with: "above 60 mmHg".
func (b *Builder) bound(p *rules.Progress) string {
	r := b.rules[p.Rule]
	if r == nil || r.Limit == nil {
		return ""
	}
	l, unit := r.Limit, unitWord(p.Unit)
	switch {
	case l.Above != nil:
		return "above " + plain(*l.Above) + unit
	case l.Below != nil:
		return "below " + plain(*l.Below) + unit
	case l.Outside != nil:
		return "outside " + plain(l.Outside[0]) + " to " + plain(l.Outside[1]) + unit
	}
	return ""
}

// limit is the bound as a number, nil where it is a band.
func (b *Builder) limit(p *rules.Progress) *float64 {
	r := b.rules[p.Rule]
	switch {
	case r == nil || r.Limit == nil:
		return nil
	case r.Limit.Above != nil:
		return r.Limit.Above
	}
	return r.Limit.Below
}

func isCells(place *rules.Place, subject string) bool {
	for _, s := range place.Sites {
		if s.ID == subject {
			return false
		}
	}
	return place.Mat != nil
}

// numbers says what is measured now, and what is not and since when.
func (b *Builder) numbers(index int, now *Now) string {
	var said []string
	for i := range b.sites[index] {
		site := &b.sites[index][i]
		said = append(said, b.measured(words(site.ID), site.ID+".pressure", site.Calibrated, now))
	}
	if mat := b.mats[index]; mat != nil {
		said = append(said, b.highest(mat, now))
	}
	return strings.Join(together(said), ", ")
}

// measured is "ankle 41 ± 2 mmHg", or why there is no such number.
func (b *Builder) measured(who, signal string, calibrated bool, now *Now) string {
	if !calibrated {
		return who + ": not calibrated"
	}
	s, known := find(now, signal)
	if s == nil {
		return who + ": no readings yet"
	}
	if !current(s, now.At) {
		return who + ": " + b.silence(s, known, now)
	}
	return who + " " + quantity(s.Value, s.U, s.Unit)
}

// silence says since when nothing is known, and whether anything arrives.
func (b *Builder) silence(s *rules.Signal, known sample.Instant, now *Now) string {
	if known == sample.Past {
		if s.At == sample.Past {
			return "no readings yet"
		}
		return "no valid readings yet"
	}
	if sample.IsUnknown(s.Value) && now.At <= s.Until {
		return "no valid readings since " + b.clock(known, now.At)
	}
	return "no readings since " + b.clock(known, now.At)
}

// highest is "highest 74 mmHg, at the pelvis", or why there is no such number.
func (b *Builder) highest(mat *Mat, now *Now) string {
	if !mat.Calibrated {
		return "mat: not calibrated"
	}
	peak, known := find(now, rules.WholeMat+".peak")
	switch {
	case peak == nil:
		return "mat: no readings yet"
	case !current(peak, now.At):
		return "mat: " + b.silence(peak, known, now)
	case math.Round(peak.Value) <= 0:
		return "mat not loaded"
	}
	at := ""
	for _, r := range mat.Regions {
		s, _ := find(now, r.ID+".peak")
		if s != nil && current(s, now.At) && s.Value == peak.Value {
			at = " at the " + words(r.ID)
			break
		}
	}
	return "highest " + quantity(peak.Value, peak.U, peak.Unit) + at
}

// together says once what is true of all: "not calibrated" instead of one
// such clause for every site.
func together(said []string) []string {
	if len(said) == 0 {
		return nil
	}
	_, first, ok := strings.Cut(said[0], ": ")
	if !ok {
		return said
	}
	for _, s := range said[1:] {
		if _, rest, _ := strings.Cut(s, ": "); rest != first {
			return said
		}
	}
	return []string{first}
}

func find(now *Now, name string) (*rules.Signal, sample.Instant) {
	for i := range now.Signals {
		if now.Signals[i].Name == name {
			known := sample.Past
			if i < len(now.LastKnown) {
				known = now.LastKnown[i]
			}
			return &now.Signals[i], known
		}
	}
	return nil, sample.Past
}

// words makes an identifier readable.
func words(id string) string {
	return strings.NewReplacer("_", " ").Replace(id)
}
