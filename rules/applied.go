package rules

import (
	"fmt"
	"strings"

	"weald/rules/alert"
	"weald/rules/limb"
)

// apply applies a rule that is no limit to the place; it says nothing where the
// place lacks what the rule is about.
func (p *place) apply(r *Rule) {
	if ok, _ := r.finds(p.spec); !ok {
		return
	}
	add := func(subject string, feeds []int, j judge) {
		g, gateFeeds := p.gate(r.while())
		p.watches = append(p.watches, &judged{
			standing: standing{
				rule: r, key: alert.Key{Place: p.spec.ID, Rule: r.ID, Subject: subject},
				feeds: union(feeds, gateFeeds), spec: r.spec(), gate: g,
			},
			judge: j,
		})
	}
	switch {
	case r.Graduation != nil:
		for _, pair := range r.Graduation.pairs(p.spec) {
			d, v := &p.spec.Sites[pair[0]], &p.spec.Sites[pair[1]]
			j := &gradeJudge{
				rule: r, grade: limb.Grade{Ratio: r.Graduation.Ratio, Drop: r.Graduation.Drop, Steepest: r.Graduation.Steepest},
				distal: p.sites[pair[0]].signal, proximal: p.sites[pair[1]].signal, names: [2]string{d.ID, v.ID},
			}
			add(d.ID+"-"+v.ID, append(p.feedsOf(j.distal), p.feedsOf(j.proximal)...), j)
		}
	case r.Exposure != nil:
		p.applyExposure(r, add)
	case r.Relief != nil:
		add(string(Seat), p.feedsOf(p.signalNamed(sigOccupied)), newReliefJudge(p, r))
	case r.Turn != nil:
		add(string(Bed), []int{p.mat.feed}, newTurnJudge(p, r))
	case r.Rate != nil:
		if i := p.signalNamed(r.Rate.Watch); i >= 0 {
			subject, _, _ := strings.Cut(r.Rate.Watch, ".")
			add(subject, p.feedsOf(i), newRateJudge(r.Rate, i))
		}
	case r.Quality != nil: // silence is what it asks for, so it rests on no feed
		for i := range p.sites {
			add(p.sites[i].spec.ID, nil, newQualityJudge(p, r.Quality, i))
		}
		if p.mat != nil {
			add(WholeMat, nil, newQualityJudge(p, r.Quality, -1))
		}
	case r.Drift != nil:
		if i := p.signalNamed(r.Drift.Site + ".resting"); i >= 0 {
			add(r.Drift.Site, p.feedsOf(i), newDriftJudge(r.Drift, i))
		}
	case r.Swing != nil:
		if i := p.signalNamed(r.Swing.Site + ".swing"); i >= 0 {
			add(r.Swing.Site, p.feedsOf(i), &limitJudge{rule: r, limit: &r.Swing.Limit, band: r.band(&r.Swing.Limit), signal: i, why: noSwing})
		}
	case r.Formula != "":
		if program, problems := compileGate(r.Formula, p.signals); len(problems) == 0 {
			add(p.spec.whole(), p.feedsOfProgram(program), newFormulaJudge(p, program))
		}
	}
}

// applyExposure gives every site, and every region with its cells, a dose.
// Cells in no region speak for the mat.
func (p *place) applyExposure(r *Rule, add func(string, []int, judge)) {
	of := r.Exposure.Of
	for i := range p.sites {
		if id := p.sites[i].spec.ID; of == "" || of == id {
			s := p.sites[i].signal
			add(id, p.feedsOf(s), newExposureJudge(r, id, s, nil))
		}
	}
	if p.mat == nil {
		return
	}
	m := p.mat.spec
	for _, region := range m.Regions {
		if of == "" || of == WholeMat || of == region.ID {
			add(region.ID, []int{p.mat.feed}, newExposureJudge(r, region.ID, -1, region.Cells))
		}
	}
	if rest, _ := m.unnamed(); len(rest) > 0 && (of == "" || of == WholeMat) {
		add(WholeMat, []int{p.mat.feed}, newExposureJudge(r, WholeMat, -1, rest))
	}
}

// whole names a place as the subject of an alert.
func (p *Place) whole() string {
	if p.Kind == Wrap {
		return "limb"
	}
	return string(p.Kind)
}

// pairs returns the pairs of sites that a graduation judges at a place, as
// indices, the distal one first.
func (g *Graduation) pairs(p *Place) (pairs [][2]int) {
	order := p.DistalFirst()
	if g.Sites != [2]string{} {
		pair := [2]int{-1, -1}
		for i := range p.Sites {
			for k, id := range g.Sites {
				if p.Sites[i].ID == id {
					pair[k] = i
				}
			}
		}
		if pair[0] >= 0 && pair[1] >= 0 {
			pairs = append(pairs, pair)
		}
		return pairs
	}
	for i := 1; i < len(order); i++ {
		pairs = append(pairs, [2]int{order[i-1], order[i]})
	}
	return pairs
}

// finds reports whether a place has what a rule is about; where it has not,
// missing says what it lacks.
func (r *Rule) finds(p *Place) (ok bool, missing string) {
	has := func(name string) bool {
		for _, s := range p.allSignals() {
			if s.Name == name && s.Unit != Truths {
				return true
			}
		}
		return false
	}
	switch {
	case r.Limit != nil:
		_, ok = p.target(r.Limit.Watch)
		return ok, fmt.Sprintf("nothing is called %q there", r.Limit.Watch)
	case r.Graduation != nil:
		return p.Kind == Wrap && len(r.Graduation.pairs(p)) > 0, "there is no limb with these sites"
	case r.Exposure != nil:
		of := r.Exposure.Of
		ok = of == "" || p.Mat != nil && p.Mat.has(of)
		for i := range p.Sites {
			ok = ok || p.Sites[i].ID == of
		}
		return ok, fmt.Sprintf("nothing is called %q there", of)
	case r.Relief != nil:
		return p.Kind == Seat, "there is no seat"
	case r.Turn != nil:
		return p.shows(), "there is no bed with a mat of at least 10 by 6 cells that shows a body"
	case r.Rate != nil:
		return has(r.Rate.Watch), fmt.Sprintf("nothing is called %q there", r.Rate.Watch)
	case r.Quality != nil:
		return len(p.Sites) > 0 || p.Mat != nil, "there is no site and no mat whose channels could be judged"
	case r.Drift != nil:
		return p.Kind == Wrap && has(r.Drift.Site+".resting"), fmt.Sprintf("no limb has a site %q", r.Drift.Site)
	case r.Swing != nil:
		return p.Kind == Wrap && has(r.Swing.Site+".swing"), fmt.Sprintf("no limb has a site %q", r.Swing.Site)
	}
	_, problems := compileGate(r.Formula, p.allSignals())
	return r.Formula != "" && len(problems) == 0, ""
}

// refers is the path of what a rule's kind refers to, below the rule.
func (r *Rule) refers() []any {
	switch {
	case r.Limit != nil:
		return []any{"limit", "watch"}
	case r.Graduation != nil && r.Graduation.Sites != [2]string{}:
		return []any{"graduation", "sites"}
	case r.Exposure != nil && r.Exposure.Of != "":
		return []any{"exposure", "of"}
	case r.Rate != nil:
		return []any{"rate", "watch"}
	case r.Drift != nil:
		return []any{"drift", "site"}
	case r.Swing != nil:
		return []any{"swing", "site"}
	}
	return []any{r.Kind()}
}

// choices are the names that a place has for it.
func (r *Rule) choices(p *Place) (names []string) {
	switch {
	case r.Limit != nil || r.Rate != nil:
		return p.Watchable()
	case r.Quality != nil || r.Relief != nil || r.Turn != nil || r.Formula != "" || p.Kind != Wrap && r.Exposure == nil:
		return nil
	}
	for i := range p.Sites {
		names = append(names, p.Sites[i].ID)
	}
	if p.Mat != nil && r.Exposure != nil {
		names = append(names, WholeMat)
		for i := range p.Mat.Regions {
			names = append(names, p.Mat.Regions[i].ID)
		}
	}
	return names
}

// speaksOf reports whether a rule for the place speaks of a signal.
func (plan *Plan) speaksOf(p *Place, name string) bool {
	for i := range plan.Rules {
		r := &plan.Rules[i]
		if r.At.matches(p) && (r.Limit != nil && r.Limit.Watch == name || r.Rate != nil && r.Rate.Watch == name ||
			r.Drift != nil && r.Drift.Site+".resting" == name || r.Swing != nil && r.Swing.Site+".swing" == name ||
			strings.Contains(r.Formula, name) || strings.Contains(r.while(), name)) {
			return true
		}
	}
	return false
}
