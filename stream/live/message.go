package live

import (
	"encoding/json"
	"errors"
	"time"

	"github.com/gorilla/websocket"

	"weald/rules/alert"
	"weald/stream/view"
)

// Protocol is the name of the WebSocket subprotocol.
const Protocol = "weald.live.v1"

// What a viewer may say. Exactly one field is set in each message.
type request struct {
	Subscribe *wish   `json:"subscribe"`
	Got       *uint32 `json:"got"`
}

// A wish is what a viewer wants to be told; it replaces the former one.
type wish struct {
	Places  names `json:"places"`
	Signals names `json:"signals"` // "place/name"; * stands for anything
	Maps    names `json:"maps"`
	Bare    bool  `json:"bare"` // views without their signals
	News    bool  `json:"news"` // of views, what has changed
}

// parse reads what a viewer said: what it asks for, or the number of the frame that it
// confirms. The error is an *end.
func parse(body []byte) (asked *wish, confirmed *uint32, err error) {
	var r request
	if err := json.Unmarshal(body, &r); err != nil {
		return nil, nil, &end{websocket.CloseInvalidFramePayloadData, "not a message of " + Protocol, endedLies}
	}
	if (r.Subscribe == nil) == (r.Got == nil) {
		return nil, nil, &end{websocket.ClosePolicyViolation, "neither one subscribe nor one got", endedLies}
	}
	return r.Subscribe, r.Got, nil
}

// names is a list of names, or "all", or both as patterns in which * stands for
// any run of characters.
type names []string

// UnmarshalJSON takes a list of strings, or the string "all".
func (n *names) UnmarshalJSON(b []byte) error {
	var all string
	if json.Unmarshal(b, &all) == nil {
		if all != "all" {
			return errors.New(`neither a list nor "all"`)
		}
		*n = names{"*"}
		return nil
	}
	return json.Unmarshal(b, (*[]string)(n))
}

func (n names) match(name string) bool {
	for _, pattern := range n {
		if match(pattern, name) {
			return true
		}
	}
	return false
}

// match reports whether name fits a pattern in which each * stands for any run
// of characters, in time proportional to the product of their lengths.
func match(pattern, name string) bool {
	star, resume := -1, 0
	p, i := 0, 0
	for i < len(name) {
		switch {
		case p < len(pattern) && pattern[p] == '*':
			star, resume = p, i
			p++
		case p < len(pattern) && pattern[p] == name[i]:
			p++
			i++
		case star >= 0:
			resume++
			p, i = star+1, resume
		default:
			return false
		}
	}
	for p < len(pattern) && pattern[p] == '*' {
		p++
	}
	return p == len(pattern)
}

// The events that a viewer is told as text.
type (
	hello struct {
		Event    string    `json:"event"`
		Protocol string    `json:"protocol"`
		Now      time.Time `json:"now"`
		Speed    float64   `json:"speed"`
		Version  string    `json:"version"`
		Zone     string    `json:"zone,omitempty"`
		Settings string    `json:"settings,omitempty"`
	}
	beat struct {
		Event string    `json:"event"`
		Now   time.Time `json:"now"`
	}
	snapshot struct {
		Event   string       `json:"event"`
		Now     time.Time    `json:"now"`
		Places  []view.Place `json:"places"`
		Alerts  []view.Alert `json:"alerts"`
		Streams []streamInfo `json:"streams"`
		Maps    []mapInfo    `json:"maps"`
	}
	streamInfo struct {
		Stream uint16 `json:"stream"`
		Place  string `json:"place"`
		Name   string `json:"name"`
		Unit   string `json:"unit"`
	}
	mapInfo struct {
		Stream  uint16 `json:"stream"`
		Place   string `json:"place"`
		Rows    int    `json:"rows"`
		Columns int    `json:"columns"`
	}
	alertEvent struct {
		Event string       `json:"event"`
		What  alert.Change `json:"what"`
		Alert view.Alert   `json:"alert"`
	}
	placeEvent struct {
		Event string     `json:"event"`
		Place view.Place `json:"place"`
	}
)

// encode marshals an event; what it is given always can be.
func encode(event any) []byte {
	b, err := json.Marshal(event)
	if err != nil {
		panic("live: an event that is no JSON: " + err.Error())
	}
	return b
}
