package rules

import "weald/ingest/sample"

// Words with which a person marks how a limb rests.
const (
	MarkLying    = "lying"
	MarkStanding = "standing"
)

// GoesBy reports whether a mark with this word counts for what is judged at a place.
func (p *Place) GoesBy(word string) bool {
	return p.Kind == Wrap && len(p.Sites) > 0 && (word == MarkLying || word == MarkStanding)
}

// Mark takes a mark that a person set at a place, at the place's present. It is an
// input like a scan, and counts from the next scan on, for which it waits: nothing is
// told before. One that the place does not go by does nothing.
func (e *Engine) Mark(place int, word string, at sample.Instant) {
	p := e.places[place]
	if !p.spec.GoesBy(word) {
		return
	}
	for _, l := range p.limbs() {
		l.limb.Mark(word == MarkStanding, at)
	}
}

// limbs returns what makes the signals of limbs, of which a place has one at most.
func (p *place) limbs() (all []*limbState) {
	for _, d := range p.derivations {
		if l, ok := d.(*limbState); ok {
			all = append(all, l)
		}
	}
	return all
}
