package view

import (
	"math"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// A Setting is what the configuration says about a place beyond what the rules
// need to know.
type Setting struct {
	Sites map[string]SiteSetting // by id; a missing one has nothing configured
}

// A SiteSetting is what the configuration says about a site.
type SiteSetting struct {
	HeightCM        *float64    // nil where not configured, as are the others
	CircumferenceCM *float64    //
	Target          *[2]float64 // mmHg, the band that is aimed for
}

// A Builder makes views of the places of one plan. It never changes after New,
// so any goroutine may use it.
type Builder struct {
	plan  *rules.Plan
	zone  *time.Location
	rules map[string]*rules.Rule

	sites   [][]Site // by place
	mats    []*Mat
	sources []bool // which deliver pressure
	judged  []bool // whether any rule judges anything there
}

// New prepares the views of plan's places. settings may be shorter than
// plan.Places; zone is where people read times.
func New(plan *rules.Plan, settings []Setting, zone *time.Location) *Builder {
	b := &Builder{plan: plan, zone: zone, rules: make(map[string]*rules.Rule)}
	for i := range plan.Rules {
		b.rules[plan.Rules[i].ID] = &plan.Rules[i]
	}
	for i := range plan.Sources {
		b.sources = append(b.sources, plan.Sources[i].Calibrated)
	}
	for i := range plan.Places {
		var setting Setting
		if i < len(settings) {
			setting = settings[i]
		}
		b.sites = append(b.sites, b.newSites(&plan.Places[i], setting))
		b.mats = append(b.mats, b.newMat(&plan.Places[i]))
		b.judged = append(b.judged, slices.ContainsFunc(plan.Rules, func(r rules.Rule) bool { return r.Judges(&plan.Places[i]) }))
	}
	return b
}

func (b *Builder) newSites(place *rules.Place, setting Setting) []Site {
	sites := make([]Site, 0, len(place.Sites))
	for _, s := range place.Sites {
		is := setting.Sites[s.ID]
		site := Site{
			ID: s.ID, HeightCM: is.HeightCM, CircumferenceCM: is.CircumferenceCM, Target: is.Target,
			Calibrated: true,
		}
		for _, c := range s.Channels {
			site.Calibrated = site.Calibrated && b.plan.Sources[c.Source].Calibrated
		}
		sites = append(sites, site)
	}
	return sites
}

func (b *Builder) newMat(place *rules.Place) *Mat {
	m := place.Mat
	if m == nil {
		return nil
	}
	mat := &Mat{
		Rows: m.Rows, Columns: m.Columns, LoadedAbove: m.LoadedAbove,
		Regions:    make([]Region, 0, len(m.Regions)),
		Calibrated: b.plan.Sources[m.Source].Calibrated,
	}
	for _, r := range m.Regions {
		box := Region{ID: r.ID, Rows: [2]int{m.Rows, -1}, Columns: [2]int{m.Columns, -1}}
		for _, cell := range r.Cells {
			row, column := cell/m.Columns, cell%m.Columns
			box.Rows = [2]int{min(box.Rows[0], row), max(box.Rows[1], row)}
			box.Columns = [2]int{min(box.Columns[0], column), max(box.Columns[1], column)}
		}
		mat.Regions = append(mat.Regions, box)
	}
	return mat
}

// Now is the present state of one place, as its engine tells it.
type Now struct {
	At       sample.Instant // the place's present, in the event time of its sources
	LastScan sample.Instant // Past before the first

	Signals   []rules.Signal
	LastKnown []sample.Instant // until when each signal was last known; Past if it never was
	Holds     []rules.Progress
	Alerts    []Alert // those that are open, over and not acknowledged, or put aside, most pressing first

	// Stalled says that the place's event time stands still: no scan has been
	// evaluated for longer than values last. No signal has a value then,
	// whatever its Until says. Arriving says that scans come nevertheless.
	Stalled, Arriving bool
}

// current reports whether a signal has a value.
func (now *Now) current(s *rules.Signal) bool {
	return !now.Stalled && !sample.IsUnknown(s.Value) && now.At <= s.Until
}

// stand makes what hangs on signals that have no value unknown too.
func (now *Now) stand() {
	if !now.Stalled {
		return
	}
	for i := range now.Holds {
		p := &now.Holds[i]
		p.Condition, p.Due, p.Unknown = sample.Maybe, sample.Never, p.Raised
	}
	for i := range now.Alerts {
		now.Alerts[i].Lose()
	}
}

// Place returns the view of the place with that index. It may write to now.
func (b *Builder) Place(index int, now *Now) Place {
	now.stand()
	p := &b.plan.Places[index]
	v := Place{
		ID: p.ID, Kind: string(p.Kind),
		State: b.state(index, now), Text: b.text(index, now),
		At:    Moment(now.LastScan),
		Sites: b.sites[index], Mat: b.mats[index],
		Signals: make(map[string]Signal, len(now.Signals)),
		Alerts:  now.Alerts,
		Holds:   make([]Hold, len(now.Holds)),
	}
	if v.Alerts == nil {
		v.Alerts = []Alert{}
	}
	for i := range now.Signals {
		s := &now.Signals[i]
		v.Signals[s.Name] = newSignal(s, now)
	}
	for i := range now.Holds {
		v.Holds[i] = b.newHold(&now.Holds[i])
	}
	return v
}

func newSignal(s *rules.Signal, now *Now) Signal {
	v := Signal{Unit: s.Unit, At: Moment(s.At), Known: s.Known, Members: s.Members, Dropped: s.Dropped}
	if now.current(s) {
		v.Value, v.U, v.Extrapolated, v.Expired = Measured(s.Value), Measured(s.U), s.Extrapolated, s.Expired
	} else {
		v.Known = 0
	}
	return v
}

func (b *Builder) newHold(p *rules.Progress) Hold {
	return Hold{
		Bound: b.bound(p), Limit: b.limit(p), Note: p.Note, Waits: p.Waits,
		Rule: p.Rule, Subject: p.Subject, Signal: p.Signal,
		Priority: p.Priority.String(), Condition: p.Condition.String(),
		HeldS: Seconds(p.Held), OnDelayS: p.OnDelay.Seconds(), Used: math.Floor(p.Used()*decimals) / decimals, // cut, as what has lasted is

		DueAt: Moment(p.Due), Raised: p.Raised, Since: Moment(p.Since),
	}
}

// calibrated reports whether every source of a place delivers pressure.
func (b *Builder) calibrated(index int) bool {
	for _, s := range b.sites[index] {
		if !s.Calibrated {
			return false
		}
	}
	return b.mats[index] == nil || b.mats[index].Calibrated
}

func (b *Builder) state(index int, now *Now) string {
	if slices.ContainsFunc(now.Alerts, func(a Alert) bool { return a.calls() }) {
		return StateAlert
	}
	if !b.calibrated(index) {
		return StateUncalibrated
	}
	for i := range now.Signals {
		s := &now.Signals[i]
		if isPressure(s.Name) && !now.current(s) {
			return StateUnknown
		}
	}
	for i := range now.Holds {
		if now.Holds[i].Condition == sample.Maybe && now.Holds[i].Waits == "" {
			return StateUnknown
		}
	}
	if len(now.Signals) == 0 {
		return StateUnknown
	}
	if slices.ContainsFunc(now.Alerts, func(a Alert) bool { return a.over() }) {
		return StateOver
	}
	for i := range now.Holds {
		if now.Holds[i].Used() >= 0.5 {
			return StateBuilding
		}
	}
	return StateQuiet
}

// isPressure tells the signals without which a place is not known: the pressure
// of each site, and the highest one of a mat and of each of its regions.
func isPressure(name string) bool {
	return strings.HasSuffix(name, ".pressure") || strings.HasSuffix(name, ".peak")
}
