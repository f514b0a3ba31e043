// What a static stiffness, standing minus lying, says of a wrap.

import { bound, decimalsOf, quantity } from './format';
import type { Signal } from './link/types';
import { wrap as text } from './text';

/** mmHg, between elastic and inelastic wraps: Mosti, Mattaliano, Acta Vulnologica 2006;4(2):73-80. */
const CUT_OFF = 10;

/** '' while nobody has been seen to stand up. Within its uncertainty of the cut-off it is neither, by the digits that are shown: what reads alike is named alike. */
export function stiffness(signal: Signal | undefined): string {
  const v = signal?.value;
  if (v == null || !Number.isFinite(v)) return '';
  const u = signal?.u;
  const shown = (x: number) => Number(x.toFixed(decimalsOf(x, u)));
  const far = Math.abs(shown(v) - CUT_OFF) > shown(u ?? 0) + 1e-9;
  return text.stiffness(quantity(v, signal?.u, 'mmHg'), (!far ? text.atCutOff : v > CUT_OFF ? text.inelastic : text.elastic)(bound(CUT_OFF, 'mmHg')));
}
