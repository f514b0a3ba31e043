package live

import (
	"bytes"
	"encoding/json"
	"hash/maphash"
	"maps"
	"slices"

	"weald/stream/view"
)

// placesBytes is how many bytes of news go out together, before they are compressed:
// over a link of 20 kB/s an eighth of a second's worth of them.
const placesBytes = 16 << 10

// A told is the view of a place as viewers are told it: as a whole, or by what of it
// has changed. It is encoded once for all of them.
type told struct {
	whole []byte // the event; nil if nobody wants it
	parts *parts // nil if nobody wants them
}

// parts are a view in the pieces that viewers who have an older one are sent anew.
type parts struct {
	fields []part // by name, all but the holds
	holds  []part // as many, in the same order, as long as the plan is in force

	number  uint64 // of the place's views that the hub gave out; 0 for one of a snapshot
	follows uint64 // the number of the one before
	since   []byte // what has changed since that
}

// A part is known again by its sum: what a viewer knows need not be kept for that.
type part struct {
	name string
	body json.RawMessage // nil where only what is known is kept
	sum  uint64
}

var seed = maphash.MakeSeed()

// partsOf takes a view apart.
func partsOf(v view.Place) *parts {
	var fields map[string]json.RawMessage
	var holds []json.RawMessage
	err := json.Unmarshal(encode(v), &fields)
	if err == nil {
		err = json.Unmarshal(fields["holds"], &holds)
	}
	if err != nil {
		panic("live: a view that is no object: " + err.Error())
	}
	delete(fields, "holds")
	p := new(parts)
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		p.fields = append(p.fields, part{name, fields[name], maphash.Bytes(seed, fields[name])})
	}
	for _, h := range holds {
		p.holds = append(p.holds, part{"", h, maphash.Bytes(seed, h)})
	}
	return p
}

// known is what it takes to tell what of it has changed.
func (p *parts) known() *parts {
	for _, list := range [][]part{p.fields, p.holds} {
		for i := range list {
			list[i].body = nil
		}
	}
	return p
}

// after makes p the view that follows another one of the same place, or the first.
func (p *parts) after(last *parts) *parts {
	p.number = 1
	if last != nil {
		p.number, p.follows = last.number+1, last.number
		p.since = p.compare(last)
	}
	return p
}

// news is what a viewer has to be sent who knows an older view: an object with the
// place's id, the fields that have changed, and those of its holds that have.
func (p *parts) news(known *parts) []byte {
	if known.number != 0 && known.number == p.follows {
		return p.since
	}
	return p.compare(known)
}

func (p *parts) compare(known *parts) []byte {
	changed := make(map[string]any)
	for i, f := range p.fields {
		if f.name == "id" || len(known.fields) != len(p.fields) || known.fields[i].sum != f.sum {
			changed[f.name] = f.body
		}
	}
	var holds []json.RawMessage
	for i, h := range p.holds {
		if len(known.holds) != len(p.holds) || known.holds[i].sum != h.sum {
			holds = append(holds, h.body)
		}
	}
	if len(holds) > 0 {
		changed["holds"] = holds
	}
	return encode(changed)
}

// together makes one event of the news of many places.
func together(news [][]byte) []byte {
	b := []byte(`{"event":"places","places":[`)
	b = append(b, bytes.Join(news, []byte(","))...)
	return append(b, "]}"...)
}
