package rules

import (
	"fmt"
	"math"
	"strings"
	"time"

	"weald/rules/alert"
	"weald/rules/hold"
)

// Check returns every problem of the plan, in the order of its fields. It looks
// at what only the plan as a whole can tell: whether rules find what they refer
// to, and whether their numbers make sense together.
func (plan *Plan) Check() []Problem {
	c := checker{plan: plan}
	for i := range plan.Places {
		c.place(i, &plan.Places[i])
	}
	for i := range plan.Rules {
		c.rule(i, &plan.Rules[i])
	}
	return c.problems
}

type checker struct {
	plan     *Plan
	problems []Problem
}

func (c *checker) bad(path []any, format string, args ...any) {
	c.problems = append(c.problems, Problem{Path: path, Message: fmt.Sprintf(format, args...)})
}

func (c *checker) place(i int, p *Place) {
	for s, site := range p.Sites {
		for k, ch := range site.Channels {
			if ch.Source < 0 || ch.Source >= len(c.plan.Sources) {
				c.bad([]any{"places", i, "sites", s, "channels", k}, "no such source")
			} else if n := c.plan.Sources[ch.Source].Channels; ch.Index < 0 || ch.Index >= n {
				c.bad([]any{"places", i, "sites", s, "channels", k}, "channel %d does not exist: %s has channels 0 to %d", ch.Index, c.plan.Sources[ch.Source].ID, n-1)
			}
		}
		if len(site.Channels) == 0 {
			c.bad([]any{"places", i, "sites", s, "channels"}, "a site needs at least one channel")
		}
	}
	if m := p.Mat; m != nil {
		c.mat(i, m)
	}
}

func (c *checker) mat(i int, m *Mat) {
	switch {
	case m.Source < 0 || m.Source >= len(c.plan.Sources):
		c.bad([]any{"places", i, "mat", "source"}, "no such source")
		return
	case m.Rows <= 0 || m.Columns <= 0:
		c.bad([]any{"places", i, "mat", "rows"}, "a mat needs at least one row and one column")
		return
	case m.Rows > c.plan.Sources[m.Source].Channels/m.Columns: // the product may be more than an int holds
		s := &c.plan.Sources[m.Source]
		cells := float64(m.Rows) * float64(m.Columns)
		c.bad([]any{"places", i, "mat", "rows"}, "%d rows of %d columns are %.0f cells, but %s has %d channels", m.Rows, m.Columns, cells, s.ID, s.Channels)
		return
	}
	for r, region := range m.Regions {
		if len(region.Cells) == 0 {
			c.bad([]any{"places", i, "mat", "regions", r}, "a region needs at least one cell")
		}
		last := -1
		for _, cell := range region.Cells {
			if cell <= last || cell >= m.Rows*m.Columns {
				c.bad([]any{"places", i, "mat", "regions", r}, "cell %d is not on the mat or out of order", cell)
				break
			}
			last = cell
		}
	}
}

func (c *checker) rule(i int, r *Rule) {
	at := func(keys ...any) []any { return append([]any{"rules", i}, keys...) }
	for _, d := range []struct {
		key string
		d   time.Duration
	}{{"on_delay", r.OnDelay}, {"off_delay", r.OffDelay}, {"resets_after", r.ResetsAfter}, {"forget_after", r.ForgetAfter}, {"escalate_after", r.EscalateAfter}} {
		if d.d < 0 {
			c.bad(at(d.key), "a duration cannot be negative: use 0s for none")
		}
	}
	if r.Priority < alert.Low || r.Priority > alert.High {
		c.bad(at("priority"), "a priority is low, medium or high")
	}
	if p := r.Certainty; p != 0 {
		switch {
		case !(p > 0 && p < 1):
			c.bad(at("certainty"), "certainty is %g: give a probability between 0 and 1, such as 0.95 to alert only when sure, or 0.05 to alert as soon as it cannot be excluded", p)
		case r.Limit == nil && r.Swing == nil && r.Graduation == nil && p != hold.Half:
			c.bad(at("certainty"), "certainty is for rules with a bound on a pressure: limit, graduation and swing")
		}
	}
	if kind := r.Kind(); kind == "" {
		c.noKind(at, r)
		return
	}
	c.settings(at, r)
	c.watch(at, r)
}

// noKind reports a rule that is of no kind or of several.
func (c *checker) noKind(at func(...any) []any, r *Rule) {
	var given []string
	for _, k := range r.kinds() {
		if k.set {
			given = append(given, k.name)
		}
	}
	if len(given) == 0 {
		c.bad(at(), "a rule needs something to judge, such as limit:")
		return
	}
	c.bad(at(given[len(given)-1]), "a rule judges one thing, and this has %s: make it several rules", strings.Join(given, " and "))
}

// limit checks a limit that stands under the given key.
func (c *checker) limit(at func(...any) []any, kind string, l *Limit) {
	n := 0
	for _, set := range []bool{l.Above != nil, l.Below != nil, l.Outside != nil} {
		if set {
			n++
		}
	}
	switch {
	case n != 1:
		c.bad(at(kind), "a %s needs exactly one of above, below and outside: it has %d", kind, n)
		return
	case l.Deadband < 0 || math.IsNaN(l.Deadband) || math.IsInf(l.Deadband, 0):
		c.bad(at(kind, "deadband"), "a deadband is a number that is not negative")
	}
	if o := l.Outside; o != nil {
		switch {
		case !(o[0] < o[1]):
			c.bad(at(kind, "outside"), "outside is [%g, %g]: write the smaller number first", o[0], o[1])
		case l.Deadband >= o[1]-o[0]:
			c.bad(at(kind, "deadband"), "a deadband of %g leaves nothing inside %g to %g: use less than %g", l.Deadband, o[0], o[1], o[1]-o[0])
		}
	}
	for key, v := range l.bounds() {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			c.bad(at(kind, key), "a limit is a finite number")
		}
	}
}

// bounds yields the numbers of a limit with the keys that they stand under.
func (l *Limit) bounds() func(func(string, float64) bool) {
	return func(yield func(string, float64) bool) {
		switch {
		case l.Above != nil:
			yield("above", *l.Above)
		case l.Below != nil:
			yield("below", *l.Below)
		case l.Outside != nil:
			_ = yield("outside", l.Outside[0]) && yield("outside", l.Outside[1])
		}
	}
}

// watch checks that the rule finds what it is about: at its own place, or at
// least at one of the places that it is for.
func (c *checker) watch(at func(...any) []any, r *Rule) {
	matched, found, before, missing := 0, 0, len(c.problems), ""
	var have []string
	var first *Place // that it finds nothing at
	for i := range c.plan.Places {
		p := &c.plan.Places[i]
		if !r.At.matches(p) {
			continue
		}
		matched++
		ok, lacks := r.finds(p)
		if !ok {
			if missing = lacks; first == nil {
				first = p
			}
			have = append(have, r.choices(p)...)
			continue
		}
		if found++; found == 1 || len(c.problems) == before {
			c.gate(at, "while", r.while(), p)
		}
	}
	switch {
	case matched == 0 && r.At.Place != "":
		c.bad(at("at", "place"), "no place is called %q", r.At.Place)
	case matched == 0:
		c.bad(at("at", "kind"), "no place is of the kind %q", r.At.Kind)
	case found == 0 && r.Formula != "":
		c.gate(at, "formula", r.Formula, first)
	case found == 0 && len(have) > 0:
		c.bad(at(r.refers()...), "%s; there is %s", missing, some(have))
	case found == 0:
		c.bad(at(r.refers()...), "%s", missing)
	}
}

// some lists the first few of names.
func some(names []string) string {
	const most = 8
	if len(names) == 0 {
		return "nothing to watch"
	}
	if len(names) > most {
		return strings.Join(names[:most], ", ") + " and more"
	}
	return strings.Join(names, ", ")
}

// gate checks an expression against the signals of one place.
func (c *checker) gate(at func(...any) []any, key, text string, p *Place) {
	if text == "" {
		return
	}
	_, problems := compileGate(text, p.allSignals())
	for _, problem := range problems {
		c.bad(at(key), "at %s, column %d: %s", p.ID, problem.Column, problem.Message)
	}
}
