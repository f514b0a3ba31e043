package keeper

import (
	"encoding/binary"
	"errors"
)

// The body of a snapshot: for each place its id and its state, and for each
// source its id and what was heard of it last, and what its calibrations remember, each as a uvarint of its length
// and the bytes.

// calibrations is put behind the id of a source whose calibrations remember
// something.
const calibrations = "#calibrations"

var errPlaces = errors.New("the snapshot is not one of places")

func (k *Keeper) pack(places [][]byte) []byte {
	var b []byte
	put := func(p []byte) {
		b = binary.AppendUvarint(b, uint64(len(p)))
		b = append(b, p...)
	}
	for i, state := range places {
		put([]byte(k.plan.Places[i].ID))
		put(state)
	}
	for i := range k.plan.Sources {
		if all := k.heard.last(k.plan.Sources[i].ID); len(all) > 0 {
			put([]byte(k.plan.Sources[i].ID))
			put(packHeard(all))
		}
		if a := k.reviver.applied; a.Any(i) {
			put([]byte(k.plan.Sources[i].ID + calibrations))
			put(a.Append(i, nil))
		}
	}
	return b
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
