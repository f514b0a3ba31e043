// How a pressure stands to its target, and the shape that says so: a ring inside, an
// arrow that points the way it is off.

export type Stance = 'unknown' | 'free' | 'under' | 'inside' | 'over';

export const OVER = 'M-7 -8H2L12 0 2 8H-7Z';
export const UNDER = 'M7 -8H-2L-12 0-2 8H7Z';

export function stance(target: readonly [number, number] | null | undefined, v: number | null | undefined): Stance {
  if (v == null || Number.isNaN(v)) return 'unknown';
  if (!target) return 'free';
  return v > target[1] ? 'over' : v < target[0] ? 'under' : 'inside';
}
