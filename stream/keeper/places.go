package keeper

import (
	"encoding/binary"
	"errors"

	"weald/ingest/sample"
	"weald/rules/alert"
)

// The body of a snapshot: for each place its id and its state, and for each
// source its id and what was heard of it last, and what its calibrations remember, and
// when the newest scan of all came, and where the newest change of an alert stands in the
// record, each as a uvarint of its length and the bytes. How places stand on a full disk
// (record.State) has the same form.

// calibrations is put behind the id of a source whose calibrations remember
// something.
const calibrations = "#calibrations"

// arrival is under what stands the newest arrival of any scan, 8 bytes.
const arrival = "#arrival"

// position is under what stands the position of the newest change of an alert, 8 bytes:
// every one behind it came of an input behind the snapshot.
const position = "#position"

var errPlaces = errors.New("the snapshot is not one of places")

// pack is the body of a snapshot. That of a ward is tens of megabytes for a moment: it
// is made in one piece of the room that the last one took.
func (k *Keeper) pack(places int, state func(place int, b []byte) []byte) []byte {
	b := make([]byte, 0, k.packed+k.packed/16)
	var one []byte
	for i := range places {
		one = state(i, one[:0])
		b = appendPlace(b, k.plan.Places[i].ID, one)
	}
	for i := range k.plan.Sources {
		id := k.plan.Sources[i].ID
		if all := k.heard.Last(id); len(all) > 0 {
			b = appendPlace(b, id, packHeard(all))
		}
		if a := k.reviver.applied; a.Any(i) {
			one = a.Append(i, one[:0])
			b = appendPlace(b, id+calibrations, one)
		}
	}
	if k.newest > sample.Past {
		b = appendPlace(b, arrival, binary.BigEndian.AppendUint64(nil, uint64(k.newest)))
	}
	b = appendPlace(b, position, binary.BigEndian.AppendUint64(nil, uint64(k.changes)))
	k.packed = len(b)
	return b
}

// packStanding packs how the places of events stand, which state returns; nil if
// nothing does.
func packStanding(events []alert.Event, state func(place string) []byte) []byte {
	var b []byte
	done := map[string]bool{}
	for i := range events {
		place := events[i].Place
		if done[place] {
			continue
		}
		done[place] = true
		if s := state(place); s != nil {
			b = appendPlace(b, place, s)
		}
	}
	return b
}

func appendPlace(b []byte, id string, state []byte) []byte {
	b = append(binary.AppendUvarint(b, uint64(len(id))), id...)
	return append(binary.AppendUvarint(b, uint64(len(state))), state...)
}

func unpackPlaces(b []byte) (map[string][]byte, error) {
	places := map[string][]byte{}
	take := func() ([]byte, bool) {
		n, size := binary.Uvarint(b)
		if size <= 0 || n > uint64(len(b)-size) {
			return nil, false
		}
		p := b[size : size+int(n)]
		b = b[size+int(n):]
		return p, true
	}
	for len(b) > 0 {
		id, ok := take()
		state, ok2 := take()
		if !ok || !ok2 {
			return nil, errPlaces
		}
		places[string(id)] = state
	}
	return places, nil
}
