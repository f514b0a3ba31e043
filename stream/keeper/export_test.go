package keeper

import (
	"maps"
	"slices"
)

// InShares makes a keeper write the readings of each source by themselves, as it
// does those of a ward that has too many for one call.
func (k *Keeper) InShares() { k.share = 1 }

// Former returns the body of a snapshot as versions wrote it that did not say where in
// the record it stands.
func Former(body []byte) (b []byte) {
	places, err := unpackPlaces(body)
	if err != nil {
		panic(err)
	}
	for _, id := range slices.Sorted(maps.Keys(places)) {
		if id != position {
			b = appendPlace(b, id, places[id])
		}
	}
	return b
}
