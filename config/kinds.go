package config

import (
	"slices"
	"time"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
	"weald/rules/exposure"
	"weald/rules/relief"
)

// kinds translates what a rule judges.
func (r *reader) kinds(in shape.Rule, out *rules.Rule, path tree.Path) {
	out.Limit = limit(in.Limit)
	out.Formula = in.Formula
	if g := in.Graduation; g != nil {
		out.Graduation = graduation(g)
	}
	if x := in.Exposure; x != nil {
		out.Exposure = exposed(x)
		if !r.doc.Has(path.With("resets_after")) {
			out.ResetsAfter = rules.DefaultOf("exposure", "resets_after").(time.Duration)
		}
	}
	if x := in.Relief; x != nil {
		out.Relief = r.relief(x, path.With("relief"))
	}
	if x := in.Turn; x != nil {
		out.Turn = &rules.Turn{Interval: time.Duration(x.Interval), Settle: time.Duration(x.Settle)}
	}
	if x := in.Rate; x != nil {
		out.Rate = &rules.Rate{Watch: x.Watch, Rise: x.Rise, Fall: x.Fall, Per: time.Duration(x.Per), Window: time.Duration(x.Window)}
	}
	if x := in.Quality; x != nil {
		out.Quality = &rules.Quality{Unchanged: time.Duration(x.Unchanged), Share: x.Share, Loss: x.Loss, Clock: time.Duration(x.Clock), Battery: x.Battery}
		for i, f := range x.Of {
			if !slices.Contains(rules.Faults, rules.Fault(f)) {
				r.doc.Report(path.With("quality", "of", i), "no fault is called %q: there are %s", f, rules.FaultNames())
			}
		}
		for _, f := range rules.Faults { // in their own order, each once
			if len(x.Of) == 0 || slices.Contains(x.Of, string(f)) {
				out.Quality.Of = append(out.Quality.Of, f)
			}
		}
	}
	if x := in.Drift; x != nil {
		out.Drift = &rules.Drift{Site: string(x.Site), By: x.By, Settle: time.Duration(x.Settle)}
	}
	if x := in.Swing; x != nil {
		out.Swing = &rules.Swing{Site: string(x.Site), Limit: rules.Limit{
			Watch: string(x.Site) + ".swing", Above: x.Above, Below: x.Below, Outside: x.Outside, Deadband: x.Deadband,
		}}
	}
	if in.Formula == "" && r.doc.Has(path.With("formula")) {
		r.doc.Report(path.With("formula"), "the formula is empty: give a condition, such as ankle.pressure > 40 and still")
	}
}

func graduation(g *shape.Graduation) *rules.Graduation {
	out := &rules.Graduation{Drop: g.Drop, Steepest: g.Steepest}
	if g.Sites != nil {
		out.Sites = *g.Sites
	}
	switch {
	case g.Ratio != nil:
		out.Ratio = *g.Ratio
	case g.Drop == 0 && g.Steepest == 0:
		out.Ratio = rules.DefaultOf("graduation", "ratio").(float64)
	}
	return out
}

func exposed(x *shape.Exposure) *rules.Exposure {
	out := &rules.Exposure{Of: string(x.Of), Model: x.Model, Share: x.Share, Floor: x.Floor, Recovery: time.Duration(x.Recovery)}
	for _, t := range x.Table {
		out.Table = append(out.Table, exposure.Point{MMHg: t.MMHg, Time: time.Duration(t.For)})
	}
	return out
}

func (r *reader) relief(x *shape.Relief, path tree.Path) *rules.Relief {
	out := &rules.Relief{
		Interval: time.Duration(x.Interval), Lasting: time.Duration(x.Lasting), EmptyFor: time.Duration(x.EmptyFor),
		Depth: rules.DefaultOf("relief", "depth").([2]float64), Counts: rules.DefaultOf("relief", "counts").([]relief.Kind),
	}
	if x.Depth != nil {
		out.Depth = *x.Depth
	}
	if !r.doc.Has(path.With("counts")) {
		return out
	}
	out.Counts = nil
	for i, name := range x.Counts {
		kind, ok := relief.ParseKind(name)
		if !ok {
			names := []string{relief.Relief.String(), relief.Shift.String(), relief.Transfer.String()}
			r.doc.Report(path.With("counts", i), "%q does not count: %s", name, choose(name, names))
			out.Counts = append(out.Counts, relief.Shift) // it was meant to be one
			continue
		}
		out.Counts = append(out.Counts, kind)
	}
	return out
}
