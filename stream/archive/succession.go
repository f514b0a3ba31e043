package archive

import "weald/ingest/sample"

// Succeed goes on where a former Archivist, whose Run has returned, stands with a place
// that is this one's now; from says, by series here, which series there it was, -1 for
// none, as history's Succeed does. The former one has nothing more to do with those: its
// Finish keeps what is left.
func (a *Archivist) Succeed(place int, former *Archivist, was int, from []int) {
	p, old := &a.places[place], &former.places[was]
	p.reached = old.reached
	for k, j := range from {
		if j >= 0 {
			p.series[k] = old.series[j]
			old.series[j] = cursor{name: old.series[j].name, lasts: old.series[j].lasts, open: sample.Past}
		}
	}
}
