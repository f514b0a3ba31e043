package view

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

// All wording about places is in this file; how durations and times are
// written is in numbers.go, and how quantities are, which alerts share, in
// package rules.

// text is the one sentence about a place: first what is wrong or on its way,
// then the numbers.
func (b *Builder) text(index int, now *Now) string {
	var parts []string
	if over := over(now); over != "" {
		parts = append(parts, over)
	}
	if lead := b.lead(index, now); lead != "" {
		parts = append(parts, lead)
	}
	if numbers := b.numbers(index, now); numbers != "" {
		parts = append(parts, numbers)
	}
	if aside := aside(now.Alerts); aside != "" {
		parts = append(parts, aside)
	}
	if len(parts) == 0 {
		return "nothing is measured here"
	}
	return strings.Join(parts, "; ")
}

// lead says what is wrong, or, failing that, how somebody lies and what has been
// held longest, which need not be said in its first half where that is.
func (b *Builder) lead(index int, now *Now) string {
	open := 0 // they come first
	for open < len(now.Alerts) && now.Alerts[open].calls() {
		open++
	}
	if open > 0 {
		return raised(&now.Alerts[0], now) + more(open-1)
	}
	if !b.judged[index] {
		return "nothing is watched here"
	}
	var furthest, says *rules.Progress
	for i := range now.Holds {
		p := &now.Holds[i]
		if p.Says != "" && (says == nil || p.Used() > says.Used()) {
			says = p
		}
		counts := p.Condition == sample.Yes || p.Used() >= 0.5
		if p.Says == "" && counts && (p.Held > 0 || p.Share > 0) && (furthest == nil || p.Used() > furthest.Used()) {
			furthest = p
		}
	}
	switch {
	case furthest == nil && says == nil:
		return ""
	case says == nil:
		return b.holding(&b.plan.Places[index], furthest)
	case furthest == nil || furthest.Used() < 0.5:
		return says.Says
	}
	return says.Says + "; " + b.holding(&b.plan.Places[index], furthest)
}

// over is the sentence of the newest alert that ended by itself and that nobody has
// acknowledged, where none is open: then it is the one to see to.
func over(now *Now) string {
	first, n := -1, 0
	for i := range now.Alerts {
		switch a := &now.Alerts[i]; {
		case a.calls():
			return ""
		case a.over():
			if n++; first < 0 {
				first = i
			}
		}
	}
	if n == 0 {
		return ""
	}
	return raised(&now.Alerts[first], now) + more(n-1)
}

// more says that there are n more alerts than the one that was named.
func more(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return " (and 1 more alert)"
	}
	return fmt.Sprintf(" (and %d more alerts)", n)
}

// raised is the sentence of an alert, without what it says of a lost signal
// where the numbers say that, and since when.
func raised(a *Alert, now *Now) string {
	switch alert.State(a.State) {
	case alert.Acknowledged:
		return unlost(a, now) + " (" + a.By + " has it)"
	case alert.Latched, alert.Returned:
		return unlost(a, now) + " (over, and not acknowledged)"
	}
	return unlost(a, now)
}

func unlost(a *Alert, now *Now) string {
	for _, quantity := range []string{".pressure", ".peak"} {
		if s, _ := find(now, a.Subject+quantity); s != nil && !now.current(s) {
			return strings.TrimSuffix(a.Text, lost)
		}
	}
	return a.Text
}

// aside counts the alerts that are put aside, by how: "1 alert shelved"; and, beside one that
// is open, those that are over and not acknowledged.
func aside(alerts []Alert) string {
	var parts []string
	for _, by := range []struct {
		state alert.State
		words string
	}{{alert.Returned, "over, and not acknowledged"}, {alert.Shelved, "shelved"}, {alert.OutOfService, "out of service"}, {alert.Suppressed, "put aside, as there is nobody to be judged"}} {
		if by.state == alert.Returned && (len(alerts) == 0 || !alerts[0].calls()) {
			continue // the sentence begins with it
		}
		n := 0
		for i := range alerts {
			if alert.State(alerts[i].State) == by.state {
				n++
			}
		}
		switch {
		case n == 1:
			parts = append(parts, "1 alert "+by.words)
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d alerts %s", n, by.words))
		}
	}
	return strings.Join(parts, ", ")
}

// holding is the sentence about a hold on its way: "pelvis: a cell above 60
// mmHg for 12 min of 30 min".
func (b *Builder) holding(place *rules.Place, p *rules.Progress) string {
	what := words(p.Subject)
	if p.Share > 0 {
		return what + ": " + used(p)
	}
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

// used is "62 % of the way to: taken for 30 min without a relief", with what has to
// be said beside the number.
func used(p *rules.Progress) string {
	what := fmt.Sprintf("%.0f %% of the way to: %s", 100*p.Used(), p.Asks)
	if p.Condition == sample.Maybe {
		what += ", unknown for now"
	}
	if p.Note != "" {
		what += " (" + p.Note + ")"
	}
	return what
}

// bound says what a rule compares with: "above 60 mmHg".
func (b *Builder) bound(p *rules.Progress) string {
	if p.Asks != "" {
		return p.Asks
	}
	r := b.rules[p.Rule]
	if r == nil || r.Limit == nil {
		return ""
	}
	return r.Asks(p.Unit)
}

// limits are the bounds that a rule compares with: one, or both of a band.
func (b *Builder) limits(p *rules.Progress) []float64 {
	r := b.rules[p.Rule]
	switch {
	case r == nil || r.Limit == nil:
		return nil
	case r.Limit.Above != nil:
		return []float64{*r.Limit.Above}
	case r.Limit.Below != nil:
		return []float64{*r.Limit.Below}
	case r.Limit.Outside != nil:
		return r.Limit.Outside[:]
	}
	return nil
}

// limit is the bound as a number, nil where it is a band.
func (b *Builder) limit(p *rules.Progress) *float64 {
	if l := b.limits(p); len(l) == 1 {
		return &l[0]
	}
	return nil
}

func isCells(place *rules.Place, subject string) bool {
	for _, s := range place.Sites {
		if s.ID == subject {
			return false
		}
	}
	return place.Mat != nil
}

// NoneNewer is said of a place whose event time stands still although readings
// arrive for it.
const NoneNewer = "readings arrive, but none is newer than what was judged (clock of the bridge?)"

// numbers says what is measured now, and what is not and since when.
func (b *Builder) numbers(index int, now *Now) string {
	if now.Stalled && now.Arriving {
		return NoneNewer
	}
	var said []string
	for i := range b.sites[index] {
		site := &b.sites[index][i]
		said = append(said, b.measured(words(site.ID), site.ID+".pressure", site.Calibrated, now))
	}
	if mat := b.mats[index]; mat != nil {
		said = append(said, b.highest(mat, now))
		said = append(said, b.blind(mat, now)...)
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
	if !now.current(s) {
		return who + ": " + b.silence(s, known, now)
	}
	said := who + " " + b.quantity(s, now, signal) + reserved(s)
	if s.Dropped > 0 {
		said += fmt.Sprintf(", without %d of %d sensors, as they disagree", s.Dropped, s.Members)
	}
	return said
}

// reserved says why a value is less than it seems.
func reserved(s *rules.Signal) (said string) {
	if s.Extrapolated {
		said += ", extrapolated"
	}
	if s.Expired {
		said += ", past the date of its calibration"
	}
	return said
}

// quantity writes a signal as an alert about it does: apart from the nearest
// limit of the rules that judge it, or one of the others named.
func (b *Builder) quantity(s *rules.Signal, now *Now, judged ...string) string {
	nearest := math.NaN()
	for i := range now.Holds {
		p := &now.Holds[i]
		if !slices.Contains(judged, p.Signal) {
			continue
		}
		for _, limit := range b.limits(p) {
			if math.IsNaN(nearest) || math.Abs(limit-s.Value) < math.Abs(nearest-s.Value) {
				nearest = limit
			}
		}
	}
	return rules.Quantity(s.Value, s.U, s.Unit, nearest)
}

// silence says since when nothing is known, and whether anything arrives.
func (b *Builder) silence(s *rules.Signal, known sample.Instant, now *Now) string {
	if known == sample.Past {
		if s.At == sample.Past {
			return "no readings yet"
		}
		return "no valid readings yet"
	}
	if sample.IsUnknown(s.Value) && now.At <= s.Until && !now.Stalled {
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
	case !now.current(peak):
		return "mat: " + b.silence(peak, known, now)
	case math.Round(peak.Value) <= 0:
		return "mat not loaded"
	}
	judged := []string{peak.Name, rules.WholeMat + ".pressure"}
	at := ""
	for _, r := range mat.Regions {
		s, _ := find(now, r.ID+".peak")
		if s != nil && now.current(s) && s.Value == peak.Value {
			at = " at the " + words(r.ID)
			judged = append(judged, s.Name, r.ID+".pressure")
			break
		}
	}
	return "highest " + b.quantity(peak, now, judged...) + at + reserved(peak)
}

// blind names the parts of a mat of which nothing is known although the mat as a
// whole is: "heels: no valid readings since 11:59:00".
func (b *Builder) blind(mat *Mat, now *Now) (said []string) {
	if peak, _ := find(now, rules.WholeMat+".peak"); peak == nil || !mat.Calibrated || !now.current(peak) {
		return nil // that is said of the mat
	}
	for _, r := range mat.Regions {
		if s, known := find(now, r.ID+".peak"); s != nil && !now.current(s) {
			said = append(said, words(r.ID)+": "+b.silence(s, known, now))
		}
	}
	for i := range now.Holds {
		// What is judged of the mat beside its regions.
		if p := &now.Holds[i]; p.Subject == rules.WholeMat && p.Condition == sample.Maybe && p.Waits == "" {
			return append(said, "rest of the mat: no valid readings")
		}
	}
	return said
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
