package report

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"weald/rules/attempt"
	"weald/rules/compression"
	"weald/stream/report/paper"
	"weald/stream/tries"
)

// mostTries of the same person are shown beside one.
const mostTries = 12

// Attempt is the report of one try at putting on a wrap.
func (s *Source) Attempt(ctx context.Context, id string) (*paper.Document, error) {
	all, err := tries.All(ctx, s.Journal, "", nil)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(all, func(t *tries.Try) bool { return t.ID == id })
	if i < 0 {
		return nil, none("there is no try %q", id)
	}
	t, times := all[i], s.times()
	got := attempt.Judge(&t.Plan, t.Readings)
	d := &paper.Document{Title: fmt.Sprintf("Try of %s at %s", t.Code, t.Place), Program: s.Program}
	switch t.State {
	case tries.Running:
		d.Lead = append(d.Lead, "The try goes on.")
	case tries.Left:
		d.Lead = append(d.Lead, "The try was broken off: it counts for nothing.")
	}
	d.Lead = append(d.Lead, tried(t, &got)...)
	ended := "goes on"
	if t.State != tries.Running {
		ended = times.Full(t.To)
	}
	d.Facts = []paper.Fact{
		{Name: "person", Value: t.Code}, {Name: "class", Value: cmp.Or(t.Lesson, "none")}, {Name: "place", Value: t.Place}, {Name: "led by", Value: cmp.Or(t.Author, "not known")},
		{Name: "began", Value: times.Full(t.From)}, {Name: "ended", Value: ended}, {Name: "times", Value: times.Name()}, {Name: "try", Value: t.ID},
		{Name: "aimed for", Value: aim(&t.Plan)}, {Name: "pull", Value: quantity(t.Plan.Wrapping.Newtons, "N")},
		{Name: "layers", Value: quantity(t.Plan.Wrapping.Layers, "")}, {Name: "width of the bandage", Value: quantity(t.Plan.Wrapping.WidthCM, "cm")},
	}
	d.Sections = []paper.Section{outcome(t, &got)}
	if f, ok := profile(t, &got); ok {
		d.Sections = append(d.Sections, paper.Section{Title: "Along the limb", Drawings: []paper.Figure{f}})
	}
	d.Sections = append(d.Sections, moved(t, &got), steps(t, times), s.others(all, t))
	if len(t.Notes) > 0 {
		d.Sections = append(d.Sections, noteSection(t.Notes, times))
	}
	d.Cautions = []string{compression.OverEstimate, "Whether a try was a good one is for the trainer to say."}
	return d, nil
}

// quantity writes what somebody gave; 0 is what nobody did.
func quantity(v float64, unit string) string {
	if v == 0 {
		return paper.NotKnown
	}
	return strings.TrimSpace(fmt.Sprintf("%.3g %s", v, unit))
}

func aim(p *attempt.Plan) string {
	if s := compression.Named(p.Scheme); s != nil {
		if c := s.Class(p.Class); c != nil {
			return s.Name + ", " + c.Name
		}
	}
	return "bands of their own"
}

// tried says what came of it in sentences.
func tried(t *tries.Try, got *attempt.Result) (out []string) {
	in, of, unsure, unknown := 0, 0, 0, 0
	for i, f := range got.Sites {
		switch f.Verdict {
		case attempt.Unknown:
			if t.Plan.Sites[i].Aim != attempt.Open {
				unknown++
			}
		case attempt.Inside, attempt.Under, attempt.Over:
			if of++; f.Verdict == attempt.Inside {
				in++
			}
			if !f.Sure {
				unsure++
			}
		}
	}
	switch {
	case of == 0:
		out = append(out, "Whether the pressure lying was what was aimed for is not known.")
	case unsure > 0:
		out = append(out, fmt.Sprintf("Lying, %d of %s in the band, of which %d within the uncertainty of its edge.", in, number(of, "sites"), unsure))
	default:
		out = append(out, fmt.Sprintf("Lying, %d of %s in the band.", in, number(of, "sites")))
	}
	if of > 0 && unknown > 0 {
		out = append(out, "Of "+number(unknown, "sites")+" that is not known.")
	}
	if got.Evenness == got.Evenness {
		out = append(out, fmt.Sprintf("Evenness %.2f: least of greatest pull, as pressure times girth tells it; 1 is even.", got.Evenness))
	}
	return out
}

// band writes what is aimed for.
func band(b attempt.Band) string {
	switch {
	case b == attempt.Open:
		return "–"
	case math.IsInf(b.High, 1):
		return "from " + pressure(b.Low)
	case b.Low == 0:
		return "up to " + pressure(b.High)
	}
	return paper.Number(b.Low) + " to " + pressure(b.High)
}

func mmHg(v attempt.Value) string { return paper.Value(v.MMHg, v.U, "mmHg") }

var verdicts = map[attempt.Verdict]string{
	attempt.Unknown: paper.NotKnown, attempt.Free: "nothing aimed for", attempt.Under: "below", attempt.Inside: "in the band", attempt.Over: "above",
}

func outcome(t *tries.Try, got *attempt.Result) paper.Section {
	s := paper.Section{Title: "What came of it", Table: &paper.Table{Name: "sites", Heads: []string{"site", "girth", "aimed for", "lying", "that is", "share", "graduation", "predicted"}}}
	for i, f := range got.Sites {
		site := &t.Plan.Sites[i]
		is := verdicts[f.Verdict]
		if !f.Sure && f.Verdict != attempt.Unknown {
			is += ", not sure"
		}
		graded, share := paper.NotKnown, paper.Value(100*f.Residual, math.NaN(), "%")
		switch {
		case i == 0:
			graded, share = "–", "–"
		case f.Graded:
			graded = cmp.Or(string(f.Fault), "right")
		}
		predicted := paper.NotKnown
		if f.Laplace == f.Laplace {
			predicted = fmt.Sprintf("%.0f to %.0f mmHg", f.Laplace*compression.LeastShare, f.Laplace)
		}
		s.Table.Add(spoken(site.ID), quantity(site.GirthCM, "cm"), band(site.Aim), mmHg(f.Lying), is, share, graded, predicted)
		if f.Pressed {
			s.Notes = append(s.Notes, upper(spoken(site.ID))+" showed more than 5 mmHg bare: something pressed already, or its zero is off.")
		}
	}
	if got.Class != "" {
		if c := compression.Named(t.Plan.Scheme).Class(got.Class); c != nil {
			s.Text = append(s.Text, "The lowest site's pressure is that of "+c.Name+".")
		}
	}
	s.Notes = append(s.Notes, "Lying: the resting level, ± its standard uncertainty; “not sure” is within that of an edge of the band. Share: of the lowest site. Predicted: what pull, layers, width and girth give by Laplace’s law, and what of it sensors have been read to show.")
	return s
}

// profile draws the pressure lying up the limb; false where heights are not known.
func profile(t *tries.Try, got *attempt.Result) (paper.Figure, bool) {
	low, high, most := math.Inf(1), math.Inf(-1), 10.0
	any := false
	for i, site := range t.Plan.Sites {
		if site.HeightCM <= 0 {
			return paper.Figure{}, false
		}
		low, high = min(low, site.HeightCM), max(high, site.HeightCM)
		if v := got.Sites[i].Lying.MMHg; v == v {
			any, most = true, max(most, v)
		}
		if !math.IsInf(site.Aim.High, 1) {
			most = max(most, site.Aim.High)
		}
	}
	if !any {
		return paper.Figure{}, false
	}
	d := paper.Draw("Pressure lying, up the limb", paper.Half, paper.Numbers("mmHg", 0, most*1.1), paper.Numbers("height, cm", low-5, high+5))
	var line []paper.Point
	for i, site := range t.Plan.Sites {
		if b := site.Aim; b != attempt.Open {
			d.Line("aim", b.Low, site.HeightCM, min(b.High, most*1.1), site.HeightCM)
		}
		if v := got.Sites[i].Lying; v.MMHg == v.MMHg {
			if v.U == v.U {
				d.Line("axis", max(0, v.MMHg-v.U), site.HeightCM, v.MMHg+v.U, site.HeightCM)
			}
			line = append(line, paper.Point{X: v.MMHg, Y: site.HeightCM})
			d.Dot(false, v.MMHg, site.HeightCM)
		}
	}
	d.Path("up", line)
	return paper.Figure{Half: true, SVG: d.Done(), Caption: "Marks: the resting level lying at each site, with its standard uncertainty. Broad: the band that is aimed for."}, true
}

func moved(t *tries.Try, got *attempt.Result) paper.Section {
	s := paper.Section{Title: "Standing and walking", Table: &paper.Table{Name: "moving", Heads: []string{"site", "stiffness", "walking amplitude"}}}
	for i, f := range got.Sites {
		s.Table.Add(spoken(t.Plan.Sites[i].ID), mmHg(f.Stiffness), mmHg(f.Swing))
	}
	s.Notes = []string{"Stiffness: resting level standing less lying (Partsch, Dermatol Surg 2005;31:625-630). A step that was not done is not known."}
	return s
}

// steps is what was read at each.
func steps(t *tries.Try, times paper.Times) paper.Section {
	s := paper.Section{Title: "Steps", Table: &paper.Table{Name: "steps", Heads: []string{"step", "read at", "that is"}}}
	for i := range t.Plan.Sites {
		s.Table.Heads = append(s.Table.Heads, spoken(t.Plan.Sites[i].ID))
	}
	for _, step := range attempt.Steps() {
		i := slices.IndexFunc(t.Readings, func(r attempt.Reading) bool { return r.Step == step })
		cells := []string{string(step), "not read", step.Quantity()}
		if i >= 0 {
			cells[1] = times.Short(t.Readings[i].At)
		}
		for k := range t.Plan.Sites {
			if i >= 0 && k < len(t.Readings[i].Values) {
				cells = append(cells, mmHg(t.Readings[i].Values[k]))
			} else {
				cells = append(cells, paper.NotKnown)
			}
		}
		s.Table.Add(cells...)
	}
	return s
}

// others are the tries of the same person that ended before, and this one.
func (s *Source) others(all []*tries.Try, t *tries.Try) paper.Section {
	out := paper.Section{Title: "Tries of " + t.Code + " up to this one", Table: &paper.Table{Name: "tries", Heads: []string{"began", "aimed for", "in band", "evenness", "lying"}}}
	var shown []*tries.Try
	for _, o := range all {
		if o == t || o.Code == t.Code && o.From < t.From && o.State == tries.Ended {
			shown = append(shown, o)
		}
	}
	for _, o := range shown[max(0, len(shown)-mostTries):] {
		got := attempt.Judge(&o.Plan, o.Readings)
		in, of, lying, even := 0, 0, "", paper.NotKnown
		for i, f := range got.Sites {
			if f.Verdict != attempt.Unknown && f.Verdict != attempt.Free {
				of++
			}
			if f.Verdict == attempt.Inside {
				in++
			}
			if i > 0 {
				lying += ", "
			}
			lying += spoken(o.Plan.Sites[i].ID) + " " + mmHg(f.Lying)
		}
		if got.Evenness == got.Evenness {
			even = fmt.Sprintf("%.2f", got.Evenness)
		}
		within := paper.NotKnown
		if of > 0 {
			within = fmt.Sprintf("%d of %d", in, of)
		}
		out.Table.Add(s.times().Short(o.From), aim(&o.Plan), within, even, lying)
	}
	return out
}
