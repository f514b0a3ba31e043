package config

import (
	"maps"
	"slices"
	"strings"

	"weald/config/internal/shape"
	"weald/config/internal/tree"
	"weald/rules"
)

// A Place is what the pages show of a limb, a bed or a seat. It has the same
// index as in the Plan.
type Place struct {
	ID    string
	Kind  rules.PlaceKind
	Sites []Site
	Mat   *Mat // nil where there is none
}

// A Site is a spot on a limb. What the file does not say is nil.
type Site struct {
	ID              string
	HeightCM        *float64    // along the limb
	CircumferenceCM *float64    // of the limb
	Target          *[2]float64 // mmHg, lowest and highest that is wanted
	Channels        []rules.Channel
}

func (r *reader) places() []Place {
	var out []Place
	seen := map[string]tree.Path{}
	for i, p := range r.file.Places {
		path := tree.Path{"places", i}
		r.unique(seen, string(p.ID), "place", path.With("id"))
		place := Place{ID: string(p.ID), Kind: rules.PlaceKind(p.Kind)}
		place.Sites = r.sites(p, path)
		if p.Mat != nil {
			place.Mat = r.mat(*p.Mat, place.Kind, path.With("mat"))
			r.names(place, path)
		}
		if len(p.Sites) == 0 && p.Mat == nil {
			r.doc.Report(path.With("sites"), "the place has nothing to measure with: give sites, a mat, or both")
		}
		r.plan.Places = append(r.plan.Places, place.plan())
		out = append(out, place)
	}
	return out
}

func (r *reader) sites(p shape.Place, place tree.Path) []Site {
	var out []Site
	seen := map[string]tree.Path{}
	for i, s := range p.Sites {
		path := place.With("sites", i)
		id := string(s.ID)
		r.unique(seen, id, "site of a place", path.With("id"))
		if id == rules.WholeMat {
			r.doc.Report(path.With("id"), "id %q stands for all cells of a mat: give the site another name", id)
		}
		site := Site{ID: id, HeightCM: s.HeightCM, CircumferenceCM: s.CircumferenceCM}
		for k, ref := range s.Channels {
			ch, ok := r.channel(ref, path.With("channels", k))
			if !ok {
				continue
			}
			if slices.Contains(site.Channels, ch) {
				r.doc.Report(path.With("channels", k), "the site has channel %s/%d twice: give it once", ref, ref.Channel)
				continue
			}
			site.Channels = append(site.Channels, ch)
		}
		if band, ok := p.Target[id]; ok {
			site.Target = &band
		}
		out = append(out, site)
	}
	r.targets(p, place.With("target"))
	return out
}

func (r *reader) targets(p shape.Place, path tree.Path) {
	var ids []string
	for _, s := range p.Sites {
		ids = append(ids, string(s.ID))
	}
	for _, id := range slices.Sorted(maps.Keys(p.Target)) {
		band := p.Target[id]
		switch {
		case !slices.Contains(ids, id):
			r.doc.Report(path.With(id), "target names %q, which is no site of this place: %s", id, choose(id, ids))
		case r.doc.Faulty(path.With(id)): // the numbers are not those of the file
		case band[0] < 0:
			r.doc.Report(path.With(id, 0), "target begins at %g mmHg: give 0 or more", band[0])
		case band[0] >= band[1]:
			r.doc.Report(path.With(id), "target is [%g, %g]: give the lower pressure first and a higher one second", band[0], band[1])
		}
	}
}

// channel resolves a reference to a channel; false if there is none.
func (r *reader) channel(ref shape.ChannelRef, path tree.Path) (rules.Channel, bool) {
	source, ok := r.resolve(ref.SourceRef, path)
	if !ok {
		return rules.Channel{}, false
	}
	n := r.plan.Sources[source].Channels
	if ref.Channel >= n {
		if n > 0 {
			r.doc.Report(path, "channel %d does not exist: %s has channels 0 to %d", ref.Channel, ref.SourceRef, n-1)
		}
		return rules.Channel{}, false
	}
	return rules.Channel{Source: source, Index: ref.Channel}, true
}

// resolve resolves a reference to a source; false if there is none.
func (r *reader) resolve(ref shape.SourceRef, path tree.Path) (int, bool) {
	if ref.Bridge == "" { // reported where it was read
		return 0, false
	}
	if i, ok := r.sources[ref.String()]; ok {
		return i, true
	}
	var bridges, sources []string
	for _, b := range r.file.Bridges {
		bridges = append(bridges, string(b.ID))
		if string(b.ID) != ref.Bridge {
			continue
		}
		for _, s := range b.Sources {
			sources = append(sources, string(s.ID))
		}
	}
	if slices.Contains(bridges, ref.Bridge) {
		r.doc.Report(path, "bridge %s has no source %q: %s", ref.Bridge, ref.Source, choose(ref.Source, sources))
	} else {
		r.doc.Report(path, "there is no bridge %q: %s", ref.Bridge, choose(ref.Bridge, bridges))
	}
	return 0, false
}

// choose says which of names could have been meant by word.
func choose(word string, names []string) string {
	names = slices.Compact(slices.DeleteFunc(slices.Clone(names), func(s string) bool { return s == "" }))
	if near := tree.Nearest(word, names); near != "" {
		return "did you mean " + near + "?"
	}
	const most = 8
	switch {
	case len(names) == 0:
		return "the file has none"
	case len(names) > most:
		return "there is " + strings.Join(names[:most], ", ") + " and more"
	}
	return "there is " + strings.Join(names, ", ")
}

// plan returns the place as the rules see it.
func (p Place) plan() rules.Place {
	out := rules.Place{ID: p.ID, Kind: p.Kind}
	for _, s := range p.Sites {
		site := rules.Site{ID: s.ID, Channels: s.Channels}
		if s.HeightCM != nil {
			site.HeightCM = *s.HeightCM
		}
		out.Sites = append(out.Sites, site)
	}
	if p.Mat != nil {
		out.Mat = p.Mat.plan()
	}
	return out
}
