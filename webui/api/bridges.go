package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// A Bridge is a link with what is known about it.
type Bridge struct {
	ID     string     `json:"id"`
	Link   string     `json:"link" doc:"What it is connected to"`
	Format string     `json:"format"`
	State  string     `json:"state" enum:"connecting,open,waiting,ended,stopped"`
	Since  *time.Time `json:"since" doc:"When the state began"`

	Trouble      string     `json:"trouble" doc:"What is wrong, in plain words; empty if nothing is"`
	TroubleSince *time.Time `json:"trouble_since"`
	NextTryAt    *time.Time `json:"next_try_at" doc:"When a lost link is tried again"`

	Connections uint64            `json:"connections" doc:"How often the link was opened"`
	Bytes       uint64            `json:"bytes"`
	Frames      uint64            `json:"frames" doc:"Whole and valid ones"`
	LastFrameAt *time.Time        `json:"last_frame_at"`
	Bad         map[string]uint64 `json:"bad" doc:"Refused frames by reason"`
	LastBad     string            `json:"last_bad" doc:"What was wrong with the latest refused frame"`

	Messages *Messages `json:"messages,omitempty" doc:"What came over MQTT; absent for other links"`

	Sources        []Source        `json:"sources" nullable:"false"`
	UnknownSources []UnknownSource `json:"unknown_sources" nullable:"false" doc:"Sources that send and are not configured"`
}

// Messages is what became of the messages of a bridge that came over MQTT.
type Messages struct {
	Offered    uint64            `json:"offered" doc:"Passed on to be decoded; a frame each"`
	Duplicates uint64            `json:"duplicates" doc:"Of those, marked as sent before; a frame that had arrived counts as a repeat of its source"`
	Dropped    map[string]uint64 `json:"dropped" nullable:"false" doc:"Not passed on, by reason: retained (of no known age), oversized, empty, strange"`
}

// A Source is a configured source behind a bridge.
type Source struct {
	ID     string `json:"id" doc:"bridge/source"`
	Number int    `json:"number" doc:"In the bridge's frames"`

	Frames  uint64 `json:"frames"`
	Scans   uint64 `json:"scans"`
	Gaps    uint64 `json:"gaps" doc:"Frames that the sequence numbers say were lost"`
	Repeats uint64 `json:"repeats" doc:"Frames that came again"`
	Late    uint64 `json:"late" doc:"Frames older than what had been handed on"`
	Partial uint64 `json:"partial" doc:"Scans with parts that never came"`
	Damaged uint64 `json:"damaged" doc:"Scans kept back as damaged at the source"`
	Stored  uint64 `json:"stored" doc:"Scans that the bridge kept and sent later"`

	Epochs  int      `json:"epochs" doc:"How often the device's clock began anew, with the first"`
	OffsetS *float64 `json:"offset_s" doc:"Arrival minus event time of the last scan"`
	SkewPPM *float64 `json:"skew_ppm" doc:"How much too fast the device's clock runs"`

	Rate       *float64   `json:"rate" doc:"Scans a second, measured"`
	Nominal    *float64   `json:"nominal" doc:"Scans a second, as configured"`
	LastScanAt *time.Time `json:"last_scan_at"`

	Battery  *float64 `json:"battery" doc:"Percent"`
	BatteryV *float64 `json:"battery_v"`
	Celsius  *float64 `json:"celsius"`
	Firmware string   `json:"firmware"`

	Calibrated bool   `json:"calibrated"`
	Trouble    string `json:"trouble" doc:"What is wrong, in plain words; empty if nothing is"`
}

// An UnknownSource sends frames, and the configuration does not have it. Its
// readings go to no place.
type UnknownSource struct {
	Number        int        `json:"number"`
	Frames        uint64     `json:"frames"`
	FirstAt       time.Time  `json:"first_at"`
	LastAt        time.Time  `json:"last_at"`
	Channels      int        `json:"channels" doc:"As many as its frames have shown"`
	FirstReadings []*float64 `json:"first_readings" nullable:"false" doc:"The first few channels of its first scan, as delivered"`
	Readings      []*float64 `json:"readings" nullable:"false" doc:"The same channels of its latest scan"`
}

type bridgesBody struct {
	Bridges []Bridge `json:"bridges" nullable:"false"`
}

func (s *server) addBridges(api huma.API) {
	huma.Register(api, operation("bridges", "/api/v1/bridges", "Links and the sources behind them"),
		func(context.Context, *struct{}) (*answer[bridgesBody], error) {
			var a answer[bridgesBody]
			if a.Body.Bridges = s.Bridges(); a.Body.Bridges == nil {
				a.Body.Bridges = []Bridge{}
			}
			return &a, nil
		})
}
