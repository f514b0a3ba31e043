package calibrating

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"

	"weald/ingest/calib/protocol"
	"weald/ingest/sample"
)

// stateVersion is the version in which a run is kept. One of another version is left
// alone, and is gone.
const stateVersion = 1

// A head is a run but for what was read, which has a part for each level: a level is
// on the disk before the next one is read, however many channels there are.
type head struct {
	Version int              `json:"version"`
	ID      string           `json:"id"`
	Ask     Ask              `json:"ask"`
	From    sample.Instant   `json:"from"`
	Levels  []protocol.Level `json:"levels"`
	Stage   stage            `json:"stage"`
	Kept    map[int]string   `json:"kept"`
	Refused bool             `json:"refused"` // what did not come into force is in the record
}

// headPart is the part of a run that is its head; those of levels have their numbers.
const headPart = "run"

const holdPart = "hold"

func levelPart(n int) string { return "level-" + strconv.Itoa(n) }

// counts are readings, null where there is none.
type counts []float64

func (c counts) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for i, v := range c {
		if i > 0 {
			b = append(b, ',')
		}
		if math.IsNaN(v) {
			b = append(b, "null"...)
		} else {
			b = strconv.AppendFloat(b, v, 'g', -1, 64)
		}
	}
	return append(b, ']'), nil
}

func (c *counts) UnmarshalJSON(b []byte) error {
	var all []*float64
	err := json.Unmarshal(b, &all)
	*c = make(counts, len(all))
	for i, v := range all {
		if (*c)[i] = math.NaN(); v != nil {
			(*c)[i] = *v
		}
	}
	return err
}

// A level is one that was read, of the run that it names.
type level struct {
	Run     string         `json:"run"`
	Of      protocol.Level `json:"of"`
	At      sample.Instant `json:"at"`
	Raw     counts         `json:"raw"`
	SD      counts         `json:"sd"`
	Drift   counts         `json:"drift"`
	Unknown int            `json:"unknown"`
}

// holds are what the channels did under the pressure that was held, of the run that it
// names.
type holds struct {
	Run string          `json:"run"`
	Of  []protocol.Hold `json:"of"`
}

// touch says that parts of the run are not on the disk as they are. The caller holds
// mu.
func (d *Desk) touch(parts ...int) {
	if d.book == nil {
		return
	}
	if d.touched == nil {
		d.touched = map[int]bool{}
	}
	for _, p := range parts {
		d.touched[p] = true
	}
}

// Parts that may be touched and are no levels, which count from 0.
const (
	theHead = -1
	theHold = -2
)

// part encodes a part of the run. One that there is none of has no bytes. The caller
// holds mu.
func (d *Desk) part(n int) (name string, body []byte, err error) {
	switch n {
	case theHead:
		name = headPart
	case theHold:
		name = holdPart
	default:
		name = levelPart(n)
	}
	switch {
	case d.run == nil || n >= len(d.run.Taken()):
		return name, []byte{}, nil
	case n == theHead:
		ask := d.ask
		ask.Plan.Levels, ask.Plan.Under = nil, nil
		body, err = json.Marshal(head{stateVersion, d.id, ask, d.from, d.run.Plan().Levels, d.stage, d.kept, d.refused})
	case n == theHold:
		body, err = json.Marshal(holds{d.id, d.run.Holds()})
	default:
		t := &d.run.Taken()[n]
		body, err = json.Marshal(level{d.id, t.Level, t.At, t.Raw, t.SD, t.Drift, t.Unknown})
	}
	return name, body, err
}

// save writes what was touched, and remembers why it could not.
func (d *Desk) save(ctx context.Context) {
	if d.book == nil {
		return
	}
	d.saving.Lock()
	defer d.saving.Unlock()
	for {
		d.mu.Lock()
		n, some := 0, false
		for p := range d.touched { // the order does not matter: a level names its run
			n, some = p, true
			break
		}
		if !some {
			d.unsaved = nil
			d.mu.Unlock()
			return
		}
		delete(d.touched, n)
		name, body, err := d.part(n)
		d.mu.Unlock()
		if err == nil {
			err = d.book.Write(ctx, name, body)
		}
		if err != nil {
			d.mu.Lock()
			d.touch(n)
			d.unsaved = err
			d.mu.Unlock()
			return
		}
	}
}

// ErrState is returned for a run that was left by another daemon and cannot be taken up.
var ErrState = errors.New("the calibration that went on cannot be taken up")

// Resume takes up the run that a former daemon left, if it left one: what was read
// stays so, and the next pressure is waited for anew. Of finds a source by its bridge
// and id. It is to be called before Run. Its errors wrap ErrState, or are those of the
// book, and there is no run then.
func (d *Desk) Resume(ctx context.Context, of func(bridge, source string) (index, width int, ok bool)) error {
	if d.book == nil {
		return nil
	}
	b, err := d.book.Read(ctx, headPart)
	if err != nil || len(b) == 0 {
		return err
	}
	var h head
	if err := json.Unmarshal(b, &h); err != nil || h.Version != stateVersion {
		return fmt.Errorf("%w: it is of version %d, this program knows %d", ErrState, h.Version, stateVersion)
	}
	name := h.Ask.Of.Bridge + "/" + h.Ask.Of.Source
	index, width, ok := of(h.Ask.Of.Bridge, h.Ask.Of.Source)
	if !ok || width != h.Ask.Width {
		return fmt.Errorf("%w: there is no source %s of %d channels any more", ErrState, name, h.Ask.Width)
	}
	var taken []protocol.Taken
	for n := range h.Levels {
		b, err := d.book.Read(ctx, levelPart(n))
		if err != nil {
			return err
		}
		var l level
		if len(b) == 0 {
			break
		} else if err := json.Unmarshal(b, &l); err != nil {
			return fmt.Errorf("%w: level %d: %w", ErrState, n+1, err)
		}
		if l.Run != h.ID {
			break // of a former run
		}
		taken = append(taken, protocol.Taken{Level: l.Of, At: l.At, Raw: l.Raw, SD: l.SD, Drift: l.Drift, Unknown: l.Unknown})
	}
	a := h.Ask
	a.Index, a.Plan.Levels = index, h.Levels
	if a.Plan.Under, err = a.under(); err != nil {
		return fmt.Errorf("%w: %w", ErrState, err)
	}
	var kept holds
	if b, err := d.book.Read(ctx, holdPart); err != nil {
		return err
	} else if len(b) > 0 {
		if err := json.Unmarshal(b, &kept); err != nil {
			return fmt.Errorf("%w: what was held: %w", ErrState, err)
		}
	}
	if kept.Run != h.ID {
		kept.Of = nil
	} else if kept.Of == nil {
		kept.Of = []protocol.Hold{} // it was held, and no channel was under it
	}
	run, err := protocol.Resume(a.Plan, taken, kept.Of, d.now())
	if err != nil {
		return fmt.Errorf("%w: %w", ErrState, err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ask, d.run, d.id, d.from, d.kept, d.refused = a, run, h.ID, h.From, h.Kept, h.Refused
	if d.kept == nil {
		d.kept = map[int]string{}
	}
	if d.stage = reading; h.Stage != reading || run.Done() {
		d.stage = fitting // what came of it is worked out again, and is the same
	}
	return nil
}
