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
	StateBuilding     = "building"     // a hold is past half of its delay
	StateQuiet        = "quiet"        // everything is known and nothing is near
)

// The states of an alert.
const (
	Unacknowledged = "unacknowledged" // it is raised
	Normal         = "normal"         // it has been cleared
)

// A Place is one wrap, bed or seat with its present state.
type Place struct {
	ID      string            `json:"id"`
	Kind    string            `json:"kind" enum:"wrap,bed,seat"`
	State   string            `json:"state" enum:"alert,uncalibrated,unknown,building,quiet"`
	Text    string            `json:"text" doc:"One plain sentence with the numbers that matter now"`
	At      *time.Time        `json:"at" doc:"When the newest evaluated scan was taken, null before the first"`
	Sites   []Site            `json:"sites" nullable:"false"`
	Mat     *Mat              `json:"mat,omitempty"`
	Signals map[string]Signal `json:"signals"`
	Alerts  []Alert           `json:"alerts" nullable:"false" doc:"The alerts that are raised here"`
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
	ID      string `json:"id"`
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
}

// A Hold says how far the delay of one rule has come for one subject.
type Hold struct {
	Rule      string     `json:"rule"`
	Subject   string     `json:"subject"`
	Signal    string     `json:"signal"`
	Bound     string     `json:"bound" doc:"What the signal is compared with, in words"`
	Limit     *float64   `json:"limit" doc:"The bound as a number; null for a band"`
	Priority  string     `json:"priority" enum:"low,medium,high"`
	Condition string     `json:"condition" enum:"yes,no,unknown"`
	HeldS     float64    `json:"held_s"`
	OnDelayS  float64    `json:"on_delay_s"`
	Used      float64    `json:"used" doc:"Share of the delay that has been held, 0 to 1"`
	DueAt     *time.Time `json:"due_at" doc:"When it will be raised if the condition lasts"`
	Raised    bool       `json:"raised"`
	Since     *time.Time `json:"since" doc:"When it was raised"`
}

// An Alert is one alert with its latest episode.
type Alert struct {
	ID          string     `json:"id"`
	Place       string     `json:"place"`
	Rule        string     `json:"rule"`
	Subject     string     `json:"subject"`
	Priority    string     `json:"priority" enum:"low,medium,high"`
	State       string     `json:"state" enum:"unacknowledged,normal"`
	RaisedAt    time.Time  `json:"raised_at"`
	ClearedAt   *time.Time `json:"cleared_at"`
	Value       *float64   `json:"value" doc:"What was measured when it was raised"`
	U           *float64   `json:"u"`
	Limit       *float64   `json:"limit"`
	Unit        string     `json:"unit"`
	Signal      string     `json:"signal"`
	SignalKnown bool       `json:"signal_known" doc:"Whether what it watches is known now"`
	Text        string     `json:"text"`
}

// Number returns v for JSON: nil, which becomes null, where v is no finite
// number.
func Number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Moment returns i for JSON: nil for "never" and "not yet".
func Moment(i sample.Instant) *time.Time {
	if i == sample.Never || i == sample.Past {
		return nil
	}
	t := i.Time()
	return &t
}
