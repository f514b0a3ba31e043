// Why a value is less than it seems.

import type { Signal } from './link/types';
import { trust as text } from './text';

/** "extrapolated, past the date of its calibration"; '' for nothing of the kind. */
export function reserved(signal: Signal | undefined): string {
  if (signal?.value == null) return '';
  return [signal.extrapolated ? text.extrapolated : '', signal.expired ? text.expired : ''].filter(Boolean).join(', ');
}
