package api

import (
	"math"
	"time"

	"weald/ingest/battery"
	"weald/ingest/health"
	"weald/rules"
	"weald/stream/view"
)

// A Source is a configured source behind a bridge.
type Source struct {
	ID     string `json:"id" doc:"bridge/source"`
	Number int    `json:"number" doc:"In the bridge's frames"`

	Channels int    `json:"channels" doc:"As configured"`
	Sends    *int   `json:"sends" doc:"Channels of its newest whole scan"`
	Unit     string `json:"unit" enum:",counts,mmHg" doc:"Of its raw readings; empty where nothing is said"`
	Feeds    []Feed `json:"feeds" nullable:"false" doc:"The places that rest on it"`

	Frames    uint64 `json:"frames"`
	Scans     uint64 `json:"scans"`
	Gaps      uint64 `json:"gaps" doc:"Frames that the sequence numbers say were lost"`
	Repeats   uint64 `json:"repeats" doc:"Frames that came again"`
	Late      uint64 `json:"late" doc:"Frames that newer ones had overtaken, and rows that go back in time"`
	Partial   uint64 `json:"partial" doc:"Scans with parts that never came"`
	Damaged   uint64 `json:"damaged" doc:"Scans kept back as damaged at the source"`
	Stored    uint64 `json:"stored" doc:"Frames that the bridge kept and sent later"`
	Unplaced  uint64 `json:"unplaced" doc:"Of those, frames that were dropped because their time is not known"`
	Saturated int    `json:"saturated" doc:"Readings at the end of the range in the newest scan"`

	Epochs  int      `json:"epochs" doc:"How often the device's clock began anew, with the first"`
	OffsetS *float64 `json:"offset_s" doc:"Wall clock minus the device's counter: when the counter stood at 0, in seconds since 1970"`
	SkewPPM *float64 `json:"skew_ppm" doc:"How much too fast the device's clock runs"`

	Rate       *float64   `json:"rate" doc:"Scans a second, measured"`
	Nominal    *float64   `json:"nominal" doc:"Scans a second, as configured"`
	LastScanAt *time.Time `json:"last_scan_at"`
	LastSeenAt *time.Time `json:"last_seen_at" doc:"When its last frame arrived, of whatever kind"`

	StatusAt *time.Time `json:"status_at" doc:"When the source last said something of itself"`
	Battery  *float64   `json:"battery" doc:"Percent"`
	BatteryV *float64   `json:"battery_v"`
	Celsius  *float64   `json:"celsius"`
	UptimeS  *float64   `json:"uptime_s" doc:"Since the device started, when it last said so"`
	Firmware string     `json:"firmware"`

	BatteryState string   `json:"battery_state" enum:",unknown,measuring,charging,falling,empty" doc:"Empty where nothing watches it"`
	BatteryText  string   `json:"battery_text" doc:"What is known of the battery, in a sentence"`
	BatteryLeftS *float64 `json:"battery_left_s" doc:"How long it will last"`

	Health *Health `json:"health" doc:"Which channels can be believed; null where nothing watches them"`

	Calibrated bool     `json:"calibrated"`
	U          *float64 `json:"u" doc:"Standard uncertainty in mmHg, the largest of its channels; null where none is stated"`
	Trouble    string   `json:"trouble" doc:"What is wrong, in plain words; empty if nothing is"`
}

// A Feed is a place that rests on a source: on all of it as a mat, or on some of
// its channels.
type Feed struct {
	Place   string     `json:"place"`
	Rows    int        `json:"rows" doc:"Of the place's mat, whose cells are the first channels, row by row; 0 if the source is not its mat"`
	Columns int        `json:"columns"`
	Sites   []FeedSite `json:"sites" nullable:"false"`
}

// A FeedSite is a site and those of the source's channels that measure there.
type FeedSite struct {
	Site     string `json:"site"`
	Channels []int  `json:"channels" nullable:"false"`
}

// Health is what is known of the channels of a source.
type Health struct {
	Text     string    `json:"text" doc:"How many channels are what; empty if all are sound as far as is known"`
	LeftOut  int       `json:"left_out" doc:"Channels that are left out of the signals"`
	Untried  int       `json:"untried" doc:"Channels that nothing has put to the test so far"`
	Findings []Finding `json:"findings" nullable:"false" doc:"Channels that are not sound, the first 256"`
}

// A Finding is what is the matter with one channel.
type Finding struct {
	Channel int        `json:"channel"`
	State   string     `json:"state" enum:"silent,dead,stuck,open,saturated,noisy"`
	Since   *time.Time `json:"since"`
	LeftOut bool       `json:"left_out"`
	Text    string     `json:"text" doc:"A sentence"`
}

// HealthOf makes what the pages show of a report.
func HealthOf(r *health.Report) *Health {
	h := &Health{Text: r.Sentence(), LeftOut: r.LeftOut, Untried: r.Untried, Findings: make([]Finding, len(r.Findings))}
	for i := range r.Findings {
		f := &r.Findings[i]
		h.Findings[i] = Finding{
			Channel: f.Channel, State: f.State.String(), Since: view.Moment(f.Since),
			LeftOut: f.LeftOut, Text: f.Sentence(),
		}
	}
	return h
}

// SetBattery says what is known of the source's battery beyond its level.
func (v *Source) SetBattery(e *battery.Estimate) {
	v.BatteryState, v.BatteryText, v.BatteryLeftS = e.State.String(), e.Sentence(), nil
	if e.State == battery.Falling && e.Left != battery.Unlimited {
		v.BatteryLeftS = view.Number(e.Left.Seconds())
	}
}

// settle adds to sources what the plan knows of them.
func (s *server) settle(sources []Source) {
	for k := range sources {
		v := &sources[k]
		v.Feeds = []Feed{}
		i := s.source(v.ID)
		if i < 0 {
			continue
		}
		from := &s.Plan.Sources[i]
		v.Channels = from.Channels
		v.U = view.Number(worst(from.U))
		for p := range s.Plan.Places {
			if feed, ok := feedOf(&s.Plan.Places[p], i); ok {
				v.Feeds = append(v.Feeds, feed)
			}
		}
	}
}

// source finds a source of the plan by its id, -1 if there is none.
func (s *server) source(id string) int {
	for i := range s.Plan.Sources {
		if s.Plan.Sources[i].ID == id {
			return i
		}
	}
	return -1
}

// worst returns the largest uncertainty, NaN where a channel has none.
func worst(u []float64) float64 {
	if len(u) == 0 {
		return math.NaN()
	}
	most := 0.0
	for _, v := range u {
		most = max(most, v) // which is NaN if either is
	}
	return most
}

// feedOf says how a place rests on a source, or that it does not.
func feedOf(place *rules.Place, source int) (Feed, bool) {
	f := Feed{Place: place.ID, Sites: []FeedSite{}}
	if !place.Uses(source) {
		return f, false
	}
	if m := place.Mat; m != nil && m.Source == source {
		f.Rows, f.Columns = m.Rows, m.Columns
	}
	for _, site := range place.Sites {
		var channels []int
		for _, c := range site.Channels {
			if c.Source == source {
				channels = append(channels, c.Index)
			}
		}
		if channels != nil {
			f.Sites = append(f.Sites, FeedSite{Site: site.ID, Channels: channels})
		}
	}
	return f, true
}
