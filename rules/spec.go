package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/posture"
)

// A Plan is everything that an Engine needs to know: what there is to judge
// and by which rules. It is plain data; Check says what is wrong with it.
type Plan struct {
	Sources []Source // sample.Scan.Source is an index into it
	Places  []Place
	Rules   []Rule

	// Lean leaves out what no rule needs, for rehearsals: signals that only
	// people look at stay unknown.
	Lean bool
}

// A Source is one stream of scans.
type Source struct {
	ID         string        // "bridge/source"
	Channels   int           // > 0
	StaleAfter time.Duration // how long a value lasts without a successor; > 0

	// U has the standard uncertainty of each channel in mmHg, NaN where none
	// is stated. Nil means that none is.
	U []float64

	// Calibrated says that the source delivers pressure. Where it is false
	// every value is unknown, and texts say "not calibrated".
	Calibrated bool
}

// PlaceKind is what kind of place it is.
type PlaceKind string

// The kinds of place.
const (
	Wrap PlaceKind = "wrap"
	Bed  PlaceKind = "bed"
	Seat PlaceKind = "seat"
)

// A Place is a limb, a bed or a seat: sites, a mat, or both.
type Place struct {
	ID    string
	Kind  PlaceKind
	Sites []Site
	Mat   *Mat // nil where there is none
}

// A Channel is one channel of one source.
type Channel struct {
	Source int // index into Plan.Sources
	Index  int // 0 <= Index < Source.Channels
}

// A Site is one or more channels that measure the same spot; their mean is its
// pressure. The signal is named "<site>.pressure".
type Site struct {
	ID       string
	Channels []Channel

	// HeightCM is how far along the limb it is, from the foot; 0 where that is
	// not known. Where it is of every site it says which are neighbours, else
	// their order does, the most distal first.
	HeightCM float64
}

// A Mat is a grid of cells that are the channels 0…Rows*Columns-1 of one
// source, row by row.
type Mat struct {
	Source        int
	Rows, Columns int
	PitchMM       [2]float64 // distance of neighbouring rows, and of neighbouring columns
	Regions       []Region   // may overlap; a cell may be in none

	// Head is the edge at the person's head, and FromBelow says that the mat is
	// seen from below: see package posture.
	Head      posture.Edge
	FromBelow bool

	// LoadedAbove is the pressure in mmHg above which a cell counts as loaded
	// on the map of durations; LoadedResets is how long it must be unloaded
	// for its time to start again.
	LoadedAbove  float64
	LoadedResets time.Duration
}

// A Region is a named set of cells of a mat.
type Region struct {
	ID    string
	Cells []int // indices row by row, ascending
}

// WholeMat is the subject that stands for every cell of a mat.
const WholeMat = "mat"

// A Rule is one rule of the configuration, for one or for many places.
type Rule struct {
	ID string
	At Where

	// What it judges; exactly one of these is set.
	Limit      *Limit
	Graduation *Graduation
	Exposure   *Exposure
	Relief     *Relief
	Turn       *Turn
	Rate       *Rate
	Drift      *Drift
	Quality    *Quality
	Swing      *Swing
	Formula    string // an expression, "" for none

	OnDelay     time.Duration
	OffDelay    time.Duration
	ResetsAfter time.Duration
	ForgetAfter time.Duration // DefaultForgetAfter where the file is silent
	While       string        // an expression, "" for always

	// Certainty is the least probability, above 0 and below 1, with which the true
	// value must be beyond a limit; 0 is 0.5, which compares the value itself. See
	// hold.Certain.
	Certainty float64

	Priority alert.Priority

	// The life of its alerts: see alert.Spec.
	Latched       bool
	EscalateAfter time.Duration // 0 for never
}

// DefaultForgetAfter is how long one unbroken silence may last before time that
// was held is forgotten, where a rule does not say.
const DefaultForgetAfter = 10 * time.Minute

// Where picks the places that a rule is for. Both fields empty means all.
type Where struct {
	Place string
	Kind  PlaceKind
}

// A Limit is true while a signal is beyond a bound. Exactly one of Above, Below
// and Outside is set.
type Limit struct {
	// Watch is "<site>.pressure", "mat.peak" and its like, or, judged cell by
	// cell, "mat.pressure" and "<region>.pressure".
	Watch    string
	Above    *float64
	Below    *float64
	Outside  *[2]float64
	Deadband float64 // in the signal's unit, >= 0
}

// A Problem is one thing that is wrong with a Plan. Path leads to it through
// the fields of the configuration, such as {"rules", 2, "limit", "watch"}.
type Problem struct {
	Path    []any // strings and ints
	Message string
}

// A Signal is the present value of one derived quantity of a place.
type Signal struct {
	Name string // "ankle.pressure"
	Unit string // "mmHg", "cm2", "1", …

	Value        float64        // NaN unknown
	U            float64        // standard uncertainty, NaN not known
	Shared       float64        // the part of U that comes from the reference; NaN not known
	Extrapolated bool           // a part of it lies outside of what its channel was calibrated for
	Expired      bool           // a part of it was made by a calibration that is past its date
	At           sample.Instant // since when; Past before the first reading
	Until        sample.Instant // the value lasts to here unless a new one comes

	Known, Members int // how many of the members had a value and count
	Dropped        int // how many are left out as they disagree with the others
}

// Cells is the present state of a mat.
type Cells struct {
	At            sample.Instant // Past before the first scan
	Rows, Columns int
	Values        []float64       // mmHg, NaN unknown, row by row
	Loaded        []time.Duration // how long each cell has been loaded since its last relief
}

// A Progress says how far one hold has come.
type Progress struct {
	alert.Key
	Signal   string
	Priority alert.Priority
	Unit     string

	Condition sample.Truth
	Waits     string        // why the condition is unknown although readings come, "" otherwise
	Asks      string        // what is asked, in words: "above 60 mmHg"
	Says      string        // a sentence of its own: "on the back for 5 min, turn due in 1 h 55 min", "" where there is none
	Note      string        // what has to be said beside the numbers, "" otherwise
	Share     float64       // of what is allowed that has been used, where that is no delay; 0 otherwise
	Held      time.Duration // for a mat, of the cell that has come furthest
	OnDelay   time.Duration
	Due       sample.Instant // when it will be raised if the condition lasts; Never otherwise
	Raised    bool
	Since     sample.Instant // when it was raised; Past otherwise
	Unknown   bool           // raised, and the signal is unknown
}

// Used returns the share of the on-delay that has been held, or of what else is
// allowed, 0 to 1.
func (p Progress) Used() float64 {
	switch {
	case p.Raised:
		return 1
	case p.Share > 0:
		return min(1, p.Share)
	case p.OnDelay <= 0:
		return 0
	}
	return min(1, float64(p.Held)/float64(p.OnDelay))
}

// A Sink is told what an Engine finds, in order, on the engine's goroutine.
type Sink interface {
	// Alert is called for every change of every alert.
	Alert(alert.Event)
	// Updated is called after every scan that was evaluated for a place; the
	// engine's Signals, Cells and Progress of that place are then current.
	Updated(place int, at sample.Instant)
	// Late is called for a scan that is older than what has been evaluated
	// for the place. It is not evaluated.
	Late(place int, s *sample.Scan)
}
