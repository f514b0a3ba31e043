// Whether pressure falls from the far end of the limb upward, as a sentence.

import { bare, plain, unitName } from './format';
import type { Place, Site } from './link/types';
import { wrap as text } from './text';

/** `sites` from the top down. */
export function graduation(place: Place, sites: readonly Site[]): string {
  if (sites.length < 2) return '';
  const [near, far] = [sites[0]!, sites[sites.length - 1]!];
  const [a, b] = [far, near].map((s) => place.signals[`${s.id}.pressure`]);
  if (a?.value == null || b?.value == null) return text.unknown;
  const values = sites.map((s) => place.signals[`${s.id}.pressure`]?.value ?? NaN);
  const falls = values.every((v, i) => i === 0 || Number.isNaN(v) || Number.isNaN(values[i - 1]!) || v > values[i - 1]!);
  return (falls ? text.falls : text.rises)(plain(far.id), bare(a.value, a.u, a.unit), plain(near.id), `${bare(b.value, b.u, b.unit)} ${unitName(b.unit)}`);
}
