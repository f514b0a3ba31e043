package main

import (
	"bytes"
	"context"
	"encoding/gob"
	"fmt"
	"hash/fnv"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"weald/ingest"
	"weald/stream/journal/replicated/patience"
	"weald/stream/relay"
)

// A handing is how readings get on that a machine hands on, as it tells whoever judges.
type handing struct {
	Waits  time.Duration     // for how long the log has taken nothing of them; 0 while it does
	Why    string            // "" while it does
	Unsent map[string]uint64 // by source: scans that no message can have, where there were any of late
	Shape  string            // of the bridge's layout in force where it is read, as shapeOf has it
	Layout int               // the number of that there
}

// unsentSaid is for how long it is said that scans could not be handed on.
const unsentSaid = 10 * time.Minute

func (g *reading) handing() (h handing) {
	var why error
	if h.Waits, why = g.writer.Waits(); why != nil {
		h.Why = why.Error()
	}
	for source, u := range g.writer.Unsent() {
		if time.Since(u.Last) < unsentSaid {
			if h.Unsent == nil {
				h.Unsent = map[string]uint64{}
			}
			h.Unsent[source] = u.Scans
		}
	}
	return h
}

// held says that nothing is handed on, "" where something is, or where it is too early to say.
func (h *handing) held() string {
	if h.Waits <= patience.SaidAfter {
		return ""
	}
	return fmt.Sprintf("the servers of the log have taken no reading for %v, so that nothing is judged of what is read: %s", h.Waits.Round(time.Second), h.Why)
}

// left says that scans of a source could not be handed on; "" where all could.
func (h *handing) left(source string) string {
	if h.Unsent[source] == 0 {
		return ""
	}
	return fmt.Sprintf("%d scans could not be handed on since the machine that reads them began, and are not judged: its log says why", h.Unsent[source])
}

// trouble says what is wrong, for the machine itself; "" for nothing.
func (h *handing) trouble() string {
	var all []string
	if words := h.held(); words != "" {
		all = append(all, words)
	}
	for _, source := range slices.Sorted(maps.Keys(h.Unsent)) {
		all = append(all, "source "+source+": "+h.left(source))
	}
	return strings.Join(all, "; ")
}

// tell says every second how the bridges are, and how their readings get on, to whoever
// judges.
func (g *reading) tell(o relay.Options) error {
	for {
		h := g.handing()
		lines, shapes, layout := g.now()
		for i, r := range lines {
			h.Shape, h.Layout = shapes[i], layout
			b, err := wordOf(r.Status(), h)
			if err != nil {
				return err
			}
			_ = relay.Tell(g.conn, o, r.spec.ID, b) // who is not heard is said to be silent
		}
		select {
		case <-time.After(time.Second):
		case <-g.ctx.Done():
			return context.Cause(g.ctx)
		}
	}
}

// now lists the bridges that are read, in the order of the configuration, their shapes, and
// the number of their layout.
func (g *reading) now() (lines []*running, shapes []string, layout int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for i := range g.config.Bridges {
		id := g.config.Bridges[i].ID
		lines, shapes = append(lines, g.lines[id]), append(shapes, g.laid[id])
	}
	return lines, shapes, g.layout
}

// shapeOf names how the channels of a bridge's sources are laid out, the same on every
// machine that has the same file.
func shapeOf(layouts []ingest.Layout) string {
	h := fnv.New64a()
	for _, l := range layouts {
		fmt.Fprintln(h, l.Rows, l.Columns, l.Together, l.Groups)
	}
	return strconv.FormatUint(h.Sum64(), 36)
}

// wordOf encodes what is told of a bridge. What comes second was not told by former versions,
// which read no further.
func wordOf(s ingest.Status, h handing) ([]byte, error) {
	var b bytes.Buffer
	e := gob.NewEncoder(&b)
	if err := e.Encode(s); err != nil {
		return nil, err
	}
	err := e.Encode(h)
	return b.Bytes(), err
}

// toldOf is the inverse of wordOf.
func toldOf(b []byte) (s *ingest.Status, h handing, err error) {
	d := gob.NewDecoder(bytes.NewReader(b))
	s = new(ingest.Status)
	if err = d.Decode(s); err == nil {
		_ = d.Decode(&h) // a former version tells nothing of it
	}
	return s, h, err
}
