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
	Capture  *Capture  `json:"capture,omitempty" doc:"The file that the raw bytes go to; absent where nothing is captured"`

	Sources        []Source        `json:"sources" nullable:"false"`
	UnknownSources []UnknownSource `json:"unknown_sources" nullable:"false" doc:"Sources that send and are not configured"`
	MoreUnknown    uint64          `json:"more_unknown" doc:"Frames of unknown sources beyond those listed"`
}

// Messages is what became of the messages of a bridge that came over MQTT.
type Messages struct {
	Offered    uint64            `json:"offered" doc:"Passed on to be decoded; a frame each"`
	Duplicates uint64            `json:"duplicates" doc:"Of those, marked as sent before; a frame that had arrived counts as a repeat of its source"`
	Dropped    map[string]uint64 `json:"dropped" nullable:"false" doc:"Not passed on, by reason: retained (of no known age), oversized, empty, strange"`
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

// A Capture is the file that the raw bytes of a bridge go to.
type Capture struct {
	File  string `json:"file"`
	Bytes int64  `json:"bytes"`
	Error string `json:"error" doc:"Why capturing stopped; empty if it did not"`
}

type bridgesBody struct {
	Bridges []Bridge `json:"bridges" nullable:"false"`
}

func (s *server) addBridges(api huma.API) {
	huma.Register(api, operation("bridges", "Links and the sources behind them"),
		func(context.Context, *struct{}) (*answer[bridgesBody], error) {
			var a answer[bridgesBody]
			if a.Body.Bridges = s.Bridges(); a.Body.Bridges == nil {
				a.Body.Bridges = []Bridge{}
			}
			for i := range a.Body.Bridges {
				s.settle(a.Body.Bridges[i].Sources)
			}
			return &a, nil
		})
	huma.Register(api, operation("raw", "The newest readings of a source, as it delivered them", 404), s.raw)
}
