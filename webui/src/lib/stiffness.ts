// What a static stiffness, standing minus lying, says of a wrap.

import { bound, quantity } from './format';
import type { Signal } from './link/types';
import { wrap as text } from './text';

/** mmHg, between elastic and inelastic wraps: Mosti, Mattaliano, Acta Vulnologica 2006;4(2):73-80. */
const CUT_OFF = 10;

/** '' while nobody has been seen to stand up. Within its uncertainty of the cut-off it is neither. */
export function stiffness(signal: Signal | undefined): string {
  const v = signal?.value;
  if (v == null || !Number.isFinite(v)) return '';
  const far = Math.abs(v - CUT_OFF) > (signal?.u ?? 0) + 1e-9;
  return text.stiffness(quantity(v, signal?.u, 'mmHg'), (!far ? text.atCutOff : v > CUT_OFF ? text.inelastic : text.elastic)(bound(CUT_OFF, 'mmHg')));
}
