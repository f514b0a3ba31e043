package view

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// The states of a place, most pressing first.
const (
	StateAlert        = "alert"        // at least one alert is raised
	StateUncalibrated = "uncalibrated" // readings arrive or may arrive, but as counts that mean nothing yet
	StateUnknown      = "unknown"      // at least one of its pressures has no current value, or a rule nothing to judge
	StateOver         = "over"         // an alert ended by itself, and nobody has acknowledged it: somebody still has to look
	StateBuilding     = "building"     // a hold is past half of its delay
	StateQuiet        = "quiet"        // everything is known and nothing is near
)

// A Place is one wrap, bed or seat with its present state.
type Place struct {
	ID      string            `json:"id"`
	Kind    string            `json:"kind" enum:"wrap,bed,seat"`
	State   string            `json:"state" enum:"alert,uncalibrated,unknown,over,building,quiet" doc:"over: an alert ended by itself, and nobody has acknowledged it"`
	Text    string            `json:"text" doc:"One plain sentence with the numbers that matter now"`
	At      *time.Time        `json:"at" doc:"When the newest evaluated scan was taken, null before the first"`
	Sites   []Site            `json:"sites" nullable:"false"`
	Mat     *Mat              `json:"mat,omitempty"`
	Signals map[string]Signal `json:"signals"`
	Alerts  []Alert           `json:"alerts" nullable:"false" doc:"The alerts that are open here, those that are over and not acknowledged, and those that are put aside"`
	Holds   []Hold            `json:"holds" nullable:"false"`
}

// A Site is one spot of a limb where pressure is measured.
type Site struct {
	ID              string      `json:"id"`
	HeightCM        *float64    `json:"height_cm" doc:"Height along the limb above the sole, null where not configured"`
	CircumferenceCM *float64    `json:"circumference_cm"`
	Target          *[2]float64 `json:"target,omitempty" doc:"The band that is aimed for, mmHg; absent where none is"`
	Calibrated      bool        `json:"calibrated"`
}

// A Mat is a grid of cells.
type Mat struct {
	Rows        int      `json:"rows"`
	Columns     int      `json:"columns"`
	Regions     []Region `json:"regions" nullable:"false"`
	LoadedAbove float64  `json:"loaded_above" doc:"mmHg above which a cell counts as loaded on the map of durations"`
	Calibrated  bool     `json:"calibrated"`
}

// A Region is the smallest rectangle around a named set of a mat's cells.
type Region struct {
	ID      string `json:"id" maxLength:"64"`
	Rows    [2]int `json:"rows" nullable:"false" doc:"First and last row, counted from 0"`
	Columns [2]int `json:"columns" nullable:"false"`
}

// A Signal is the present value of one quantity.
type Signal struct {
	Value   *float64   `json:"value" doc:"null while unknown"`
	U       *float64   `json:"u" doc:"Standard uncertainty in the same unit, null where not known"`
	Unit    string     `json:"unit"`
	At      *time.Time `json:"at" doc:"When it was measured; null before the first reading"`
	Known   int        `json:"known" doc:"How many of its members had a value"`
	Members int        `json:"members"`

	Extrapolated bool `json:"extrapolated,omitempty" doc:"Part of it lies outside of what its channel was calibrated for"`
	Expired      bool `json:"expired,omitempty" doc:"Part of it was made by a calibration that is past its date"`
	Dropped      int  `json:"dropped,omitempty" doc:"How many of its members are left out as they disagree with the others"`
}

// A Hold says how far the delay of one rule has come for one subject.
type Hold struct {
	Rule      string     `json:"rule"`
	Subject   string     `json:"subject"`
	Signal    string     `json:"signal"`
	Bound     string     `json:"bound" doc:"What the signal is compared with, in words"`
	Limit     *float64   `json:"limit" doc:"The bound as a number; null for a band"`
	Note      string     `json:"note,omitempty" doc:"What has to be said beside the numbers, such as that a model is one of research"`
	Waits     string     `json:"waits,omitempty" doc:"Why the condition is unknown although readings come"`
	Priority  string     `json:"priority" enum:"low,medium,high"`
	Condition string     `json:"condition" enum:"yes,no,unknown"`
	HeldS     float64    `json:"held_s" doc:"For how long the condition has lasted, as the rule counts it; to the millisecond"`
	OnDelayS  float64    `json:"on_delay_s"`
	Used      float64    `json:"used" doc:"Share of the delay that has been held, 0 to 1"`
	DueAt     *time.Time `json:"due_at" doc:"When it will be raised if the condition lasts"`
	Raised    bool       `json:"raised"`
	Since     *time.Time `json:"since" doc:"When it was raised"`
}

// An Alert is one alert with its latest episode.
type Alert struct {
	ID         string     `json:"id"`
	Place      string     `json:"place"`
	Rule       string     `json:"rule"`
	Subject    string     `json:"subject"`
	Priority   string     `json:"priority" enum:"low,medium,high"`
	State      string     `json:"state" enum:"normal,unacknowledged,acknowledged,returned-unacknowledged,latched,shelved,suppressed,out-of-service" doc:"In the words of ISA-18.2. returned-unacknowledged: it is over and nobody has acknowledged it; latched: the same, and it is shown until somebody does; suppressed: by design, as there is nobody to be judged"`
	Since      time.Time  `json:"since" doc:"Since when it is in this state"`
	RaisedAt   *time.Time `json:"raised_at" doc:"null for one that was put aside and has not been raised of late"`
	ClearedAt  *time.Time `json:"cleared_at" doc:"null while it stands"`
	Tier       int        `json:"tier" doc:"Which tier of receivers is called, from 1; 0 while nobody is"`
	Chattering bool       `json:"chattering" doc:"It was raised more than 3 times in 10 minutes, and is told once until it has been calm for as long"`
	By         string     `json:"by" doc:"The code of the person by whom it is acknowledged, shelved or out of service"`
	Reason     string     `json:"reason" doc:"In that person's words"`
	Until      *time.Time `json:"until" doc:"When its shelf ends; null where it is on none"`

	AcknowledgedAt *time.Time `json:"acknowledged_at" doc:"When the newest raise was acknowledged; null while nobody has"`
	AcknowledgedBy string     `json:"acknowledged_by"`

	Value       *float64 `json:"value" doc:"What was measured when it was raised"`
	U           *float64 `json:"u"`
	Limit       *float64 `json:"limit"`
	Unit        string   `json:"unit"`
	Signal      string   `json:"signal"`
	SignalKnown bool     `json:"signal_known" doc:"Whether what it watches is known now"`
	Text        string   `json:"text"`
}

// Number returns v for JSON: nil, which becomes null, where v is no finite
// number.
func Number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Seconds returns how long something has lasted for JSON: to the millisecond, as no sensor
// says when to the nanosecond. It is cut and not rounded, so that nothing looks over early.
func Seconds(d time.Duration) float64 { return float64(d.Milliseconds()) / 1e3 }

// decimals are those of a measured value in JSON: more than any sensor supports, and as few
// as keep the noise of computing out of sight.
const decimals = 1e4

// Measured is Number for what was measured or computed from that: rounded, as more digits
// say nothing, and those of a sum of decimals read as if they did. What is kept is not.
func Measured(v float64) *float64 { return Number(math.Round(v*decimals)/decimals + 0) } // + 0 makes 0 of -0

// Reached is Measured for what was compared with a limit: never rounded onto it, or to its
// other side, so that an alert's numbers say that it is one.
func Reached(v, limit float64) *float64 {
	r := Measured(v)
	if r != nil && ((*r > limit) != (v > limit) || (*r < limit) != (v < limit)) {
		return Number(v)
	}
	return r
}

// Moment returns i for JSON: nil for "never" and "not yet".
func Moment(i sample.Instant) *time.Time {
	if i == sample.Never || i == sample.Past {
		return nil
	}
	t := i.Time()
	return &t
}
