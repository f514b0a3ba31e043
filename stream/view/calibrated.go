package view

import "slices"

// Calibrated says that a source, an index into the plan's, delivers pressure from
// now on. Places that were built before stay as they are.
func (b *Builder) Calibrated(source int) {
	b.sources[source] = true
	for i := range b.plan.Places {
		place := &b.plan.Places[i]
		b.sites[i] = slices.Clone(b.sites[i])
		for k := range place.Sites {
			all := true
			for _, c := range place.Sites[k].Channels {
				all = all && b.sources[c.Source]
			}
			b.sites[i][k].Calibrated = all
		}
		if b.mats[i] != nil && place.Mat.Source == source {
			mat := *b.mats[i]
			mat.Calibrated = true
			b.mats[i] = &mat
		}
	}
}
