package live

import (
	"context"

	"weald/stream/view"
)

// A subscription is a wish made out. It does not change once it is in force, but
// for what the viewer was told, which Hub.Run owns, and the schedule and what the
// viewer knows, which the writer does.
type subscription struct {
	places   []bool   // by place: whether its view is wanted
	told     []string // by place: the key of the view that the viewer was last told
	wakes    []bool   // by place: whether readings or maps are
	bare     bool     // views are wanted without their signals
	news     bool     // of views, what has changed is wanted
	known    []*parts // by place: the view that the viewer was sent last, where it wants news
	streams  []streamInfo
	maps     []mapInfo
	schedule schedule
}

// tell tells of the places that a viewer is to watch.
func (h *Hub) tell(ctx context.Context, s *subscription) {
	if h.Watched == nil {
		return
	}
	var places []string
	for i := range h.Places {
		if s.places[i] || s.wakes[i] {
			places = append(places, h.Places[i].ID)
		}
	}
	h.Watched(ctx, places, len(places) > 1 && len(places) == len(h.Places))
}

// subscribe makes out a wish, with the numbers of the connection. Names that fit nothing
// are passed over: what the snapshot lists is what there is. Its error is errNumbers.
func (h *Hub) subscribe(w *wish, ids numbers) (*subscription, error) {
	s := &subscription{
		places:  make([]bool, len(h.Places)),
		told:    make([]string, len(h.Places)),
		wakes:   make([]bool, len(h.Places)),
		bare:    w.Bare,
		news:    w.News,
		streams: []streamInfo{}, maps: []mapInfo{},
		schedule: schedule{store: h.Store},
	}
	for i := range h.Places {
		p := &h.Places[i]
		s.places[i] = w.Places.match(p.ID)
		if len(w.Signals) > 0 {
			if err := h.addStreams(s, i, w.Signals, ids); err != nil {
				return nil, err
			}
		}
		if p.Rows > 0 && w.Maps.match(p.ID) {
			id, err := ids.of(i, theMap)
			if err != nil {
				return nil, err
			}
			s.wakes[i] = true
			s.maps = append(s.maps, mapInfo{Stream: id, Place: p.ID, Rows: p.Rows, Columns: p.Columns})
			s.schedule.items = append(s.schedule.items,
				item{kind: kindPressure, place: i, id: id},
				item{kind: kindLoaded, place: i, id: id})
		}
	}
	return s, nil
}

// know notes the views of the snapshot, which come in the order of the places.
func (s *subscription) know(views []view.Place) {
	if !s.news {
		return
	}
	s.known = make([]*parts, len(s.places))
	next := 0
	for i, wanted := range s.places {
		if wanted {
			s.known[i] = partsOf(views[next]).known()
			next++
		}
	}
}

func (h *Hub) addStreams(s *subscription, place int, wanted names, ids numbers) error {
	t := item{kind: kindSamples, place: place, seen: h.Store.Head(place)}
	for k, series := range h.Store.Series(place) {
		if !wanted.match(h.Places[place].ID + "/" + series.Name) {
			continue
		}
		id, err := ids.of(place, k)
		if err != nil {
			return err
		}
		t.streams = append(t.streams, stream{id: id, series: k})
		s.streams = append(s.streams, streamInfo{Stream: id, Place: h.Places[place].ID, Name: series.Name, Unit: series.Unit})
	}
	if len(t.streams) > 0 {
		s.wakes[place] = true
		s.schedule.items = append(s.schedule.items, t)
	}
	return nil
}
