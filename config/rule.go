package config

import (
	"slices"
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
	"weald/rules/alert"
)

// rules translates the rules of the file. Whether they find what they refer to
// and make sense is for rules.Plan.Check to say.
func (r *reader) rules() {
	if len(r.file.Rules) > 0 && len(r.file.Places) == 0 {
		r.doc.Report(tree.Path{"places"}, "there are rules, but no places that they could be for: give places")
	}
	seen := map[string]tree.Path{}
	for i, rule := range r.file.Rules {
		path := tree.Path{"rules", i}
		r.unique(seen, string(rule.ID), "rule", path.With("id"))
		r.at(rule.At, path.With("at"))
		priority, _ := alert.ParsePriority(rule.Priority)
		out := rules.Rule{
			ID:          string(rule.ID),
			At:          rules.Where{Place: string(rule.At.Place), Kind: rules.PlaceKind(rule.At.Kind)},
			Limit:       limit(rule.Limit),
			OnDelay:     time.Duration(rule.OnDelay),
			OffDelay:    time.Duration(rule.OffDelay),
			ResetsAfter: time.Duration(rule.ResetsAfter),
			ForgetAfter: time.Duration(rule.ForgetAfter),
			While:       rule.While,
			Certainty:   rule.Certainty,
			Priority:    priority,

			Latched:       rule.Latched,
			EscalateAfter: time.Duration(rule.EscalateAfter),
		}
		r.kinds(rule, &out, path)
		r.plan.Rules = append(r.plan.Rules, out)
	}
}

// at checks that there are places for a rule to be for.
func (r *reader) at(at shape.At, path tree.Path) {
	if at.Place != "" && at.Kind != "" {
		r.doc.Report(path.With("kind"), "at has both place and kind: give one of them, or none for all places")
	}
	var ids, kinds []string
	for _, p := range r.file.Places {
		ids, kinds = append(ids, string(p.ID)), append(kinds, p.Kind)
	}
	slices.Sort(kinds)
	if place := string(at.Place); place != "" && !slices.Contains(ids, place) && !r.follows(path) {
		r.doc.Report(path.With("place"), "there is no place %q: %s", place, choose(place, ids))
	}
	if at.Kind != "" && !slices.Contains(kinds, at.Kind) && !r.follows(path) {
		r.doc.Report(path.With("kind"), "there is no place of the kind %s: %s", at.Kind, choose(at.Kind, kinds))
	}
}

func limit(l *shape.Limit) *rules.Limit {
	if l == nil {
		return nil
	}
	return &rules.Limit{
		Watch: l.Watch, Above: l.Above, Below: l.Below, Outside: l.Outside, Deadband: l.Deadband,
	}
}

// check adds what the rules say about the plan, each problem at its place in
// the file.
func (r *reader) check() {
	for _, p := range r.plan.Check() {
		path := tree.Path(p.Path)
		if !r.follows(path) {
			r.doc.Report(path, "%s", p.Message)
		}
	}
}

// follows reports whether a rule may only fail to find what it refers to
// because the place that it means has problems of its own.
func (r *reader) follows(path tree.Path) bool {
	if len(path) < 3 || path[0] != "rules" {
		return false
	}
	if refers := path[2] == "at" || path[2] == "while" || path[2] == "formula" || slices.Contains([]any{"watch", "site", "sites", "of"}, path[len(path)-1]); !refers {
		return false
	}
	if len(r.file.Places) == 0 {
		return true // said once, for all rules
	}
	at := r.file.Rules[path[1].(int)].At
	for i, p := range r.file.Places {
		place := tree.Path{"places", i}
		if r.doc.Faulty(place.With("kind")) || r.doc.Faulty(place.With("id")) {
			return true // it could be the one
		}
		if at.Place != "" && at.Place != p.ID || at.Kind != "" && at.Kind != p.Kind {
			continue
		}
		if r.doc.Faulty(place.With("mat")) {
			return true
		}
		for k := range p.Sites {
			if r.doc.Faulty(place.With("sites", k, "id")) {
				return true
			}
		}
	}
	return false
}
