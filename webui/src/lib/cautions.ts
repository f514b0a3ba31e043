// What has to be said beside the numbers of a place, such as that the model they
// were made with is one of research: once each.

import type { Place } from './link/types';

export function cautions(...places: Place[]): string[] {
  return [...new Set(places.flatMap((p) => p.holds.map((h) => h.note ?? '')))].filter((n) => n !== '');
}
