package rules

import "strings"

// A target is what a rule's `watch` stands for at one place.
type target struct {
	subject string
	cells   bool   // each cell by itself, rather than one signal
	unit    string // of the limit
}

// target resolves a watch; false if the place has no such thing.
func (p *Place) target(watch string) (target, bool) {
	subject, quantity, ok := strings.Cut(watch, ".")
	if !ok {
		return target{}, false
	}
	for i := range p.Sites {
		if p.Sites[i].ID == subject {
			if quantity == "pressure" {
				return target{subject: subject, unit: "mmHg"}, true
			}
			break
		}
	}
	if unit, ok := p.derivedUnit(watch); ok {
		return target{subject: subject, unit: unit}, true
	}
	if p.Mat == nil || !p.Mat.has(subject) {
		return target{}, false
	}
	if quantity == "pressure" {
		return target{subject: subject, cells: true, unit: "mmHg"}, true
	}
	for _, q := range areaQuantities {
		if q.name == quantity {
			return target{subject: subject, unit: q.unit}, true
		}
	}
	return target{}, false
}

func (m *Mat) has(subject string) bool {
	if subject == WholeMat {
		return true
	}
	for i := range m.Regions {
		if m.Regions[i].ID == subject {
			return true
		}
	}
	return false
}

// Watchable returns every name that a rule can watch at the place.
func (p *Place) Watchable() (names []string) {
	for _, s := range p.allSignals() {
		if s.Unit != Truths {
			names = append(names, s.Name)
		}
	}
	if p.Mat != nil {
		names = append(names, WholeMat+".pressure")
		for i := range p.Mat.Regions {
			names = append(names, p.Mat.Regions[i].ID+".pressure")
		}
	}
	return names
}

// Uses reports whether anything of the place is measured by a source, which is
// an index into Plan.Sources.
func (p *Place) Uses(source int) bool {
	if p.Mat != nil && p.Mat.Source == source {
		return true
	}
	for _, site := range p.Sites {
		for _, c := range site.Channels {
			if c.Source == source {
				return true
			}
		}
	}
	return false
}

// Judges reports whether the rule is for the place and finds there what it
// watches.
func (r *Rule) Judges(p *Place) bool {
	if !r.At.matches(p) {
		return false
	}
	ok, _ := r.finds(p)
	return ok
}

// derivedUnit returns the unit of a derived number; false if there is none of
// that name. What is yes or no cannot be watched; a formula can speak of it.
func (p *Place) derivedUnit(name string) (unit string, ok bool) {
	p.derivedSignals(func(n, u string, _ int) {
		if n == name && u != Truths {
			unit, ok = u, true
		}
	})
	return unit, ok
}

// IsMeasured reports whether a signal of that name is the pressure of a site or
// what every scan of a mat is tallied for, rather than made of such.
func IsMeasured(name string) bool {
	_, quantity, _ := strings.Cut(name, ".")
	for _, q := range areaQuantities {
		if q.name == quantity {
			return true
		}
	}
	return quantity == "pressure"
}
