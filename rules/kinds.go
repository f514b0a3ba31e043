package rules

import (
	"time"

	"weald/rules/exposure"
	"weald/rules/relief"
)

// A Graduation is true while the pressure does not fall from distal to proximal
// as asked, for each pair of neighbouring sites or one named pair.
type Graduation struct {
	Sites    [2]string // a pair, the distal one first; empty for every neighbouring pair
	Ratio    float64   // proximal is at most this share of distal; 0 asks nothing, as below
	Drop     float64   // and lower by at least this, mmHg
	Steepest float64   // and at least this share of distal
}

// An Exposure is true while any cell or site has used share of its tolerance,
// by a model that is named. Rule.ResetsAfter is how long it must be unloaded for
// recovery to begin.
type Exposure struct {
	Of       string           // a site, a region or "mat"; "" for all
	Model    string           // one of exposure.Names, or "" with Table
	Table    []exposure.Point // a table of the site's own
	Share    float64          // of the tolerance, above 0
	Floor    float64          // mmHg, up to which it is unloaded
	Recovery time.Duration    // time constant; exposure.Never for none
}

// A Relief is true while somebody has been seated for Interval with nothing that
// counts.
type Relief struct {
	Interval time.Duration
	Depth    [2]float64 // share that is off: one side for a shift, the whole for a relief
	Lasting  time.Duration
	EmptyFor time.Duration // how long an empty seat makes a transfer
	Counts   []relief.Kind
}

// A Turn is true while somebody has lain in a bed for Interval without a turn. A
// new position counts once it has lasted for Settle.
type Turn struct {
	Interval, Settle time.Duration
}

// A Rate is true while a signal rises or falls faster than so much per so long,
// by its robust slope over a window.
type Rate struct {
	Watch      string
	Rise, Fall float64 // in the signal's unit, above 0; 0 does not ask
	Per        time.Duration
	Window     time.Duration
}

// A Drift is true while the resting level of a site lies more than By from where
// it had settled. It judges while the limb is still.
type Drift struct {
	Site   string
	By     float64       // mmHg, above 0
	Settle time.Duration // how long after wrapping it is taken to have settled
}

// A Swing is a limit on the walking amplitude of a site.
type Swing struct {
	Site string
	Limit
}

// Kind names what kind of rule it is, as the configuration does; "" where it has
// none or more than one.
func (r *Rule) Kind() string {
	kind := ""
	for _, k := range r.kinds() {
		if k.set && kind != "" {
			return ""
		} else if k.set {
			kind = k.name
		}
	}
	return kind
}

type kindOfRule struct {
	name string
	set  bool
}

// kinds has every kind of rule and whether r is one.
func (r *Rule) kinds() []kindOfRule {
	return []kindOfRule{
		{"limit", r.Limit != nil}, {"graduation", r.Graduation != nil}, {"exposure", r.Exposure != nil},
		{"relief", r.Relief != nil}, {"turn", r.Turn != nil}, {"rate", r.Rate != nil}, {"drift", r.Drift != nil}, {"swing", r.Swing != nil},
		{"quality", r.Quality != nil},
		{"formula", r.Formula != ""},
	}
}

// while is the gate of a rule: what it says, or else that of its kind.
func (r *Rule) while() string {
	if r.While == "" && r.Graduation != nil {
		return "still" // walking neither raises nor clears it
	}
	return r.While
}

// needsBody reports whether there is nothing to judge where there is nobody: an
// empty bed or seat, a limb without a wrap. A limit or a formula may be about
// just that, and what channels do is nobody's body.
func (r *Rule) needsBody() bool {
	return r.Limit == nil && r.Formula == "" && r.Rate == nil && r.Quality == nil
}
