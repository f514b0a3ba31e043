// The places, for pages that follow none of them live.

import { getJSON } from './link/history';
import type { Place } from './link/types';
import { byPlace } from './order';

/** All places, in the order of their names. */
export async function readPlaces(): Promise<Place[]> {
  const { places } = await getJSON<{ places: Place[] | null }>('/api/v1/places');
  return (places ?? []).sort(byPlace);
}
