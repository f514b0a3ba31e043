// The colour ramp for data: one curve through OKLab, walked in equal steps, so
// that equal steps of a quantity look equally far apart. Each theme has its
// own direction: nothing is always the colour of the ground, and more stands
// out from it, so that a quiet map is a quiet page by day and by night.

import { distance, encode, fromPolar, labToLinear, type Triple } from './oklab';

export type Theme = 'light' | 'dark';

const STEPS = 256;

// The three points that the curve leaves from, is drawn to, and ends at. The
// dark ramp stops short of white, which would dazzle at night.
const THROUGH: Record<Theme, readonly [Triple, Triple, Triple]> = {
  light: [fromPolar(0.965, 0.022, 92), fromPolar(0.6, 0.078, 207), fromPolar(0.24, 0.09, 268)],
  dark: [fromPolar(0.27, 0.05, 268), fromPolar(0.56, 0.08, 210), fromPolar(0.88, 0.08, 95)],
};

function curve([p0, via, p1]: readonly [Triple, Triple, Triple], t: number): Triple {
  // The control point that takes the quadratic through `via` halfway.
  const at = (i: 0 | 1 | 2) => {
    const control = 2 * via[i] - (p0[i] + p1[i]) / 2;
    return (1 - t) ** 2 * p0[i] + 2 * t * (1 - t) * control + t * t * p1[i];
  };
  return [at(0), at(1), at(2)];
}

/** The ramp as OKLab colours, `steps` of them, equally spaced along the curve. */
export function rampLab(theme: Theme, steps = STEPS): Triple[] {
  const through = THROUGH[theme];
  const fine = 4096;
  const lengths = new Float64Array(fine + 1);
  let previous = curve(through, 0);
  for (let i = 1; i <= fine; i++) {
    const next = curve(through, i / fine);
    lengths[i] = lengths[i - 1]! + distance(previous, next);
    previous = next;
  }
  const total = lengths[fine]!;
  const out: Triple[] = [];
  let j = 0;
  for (let i = 0; i < steps; i++) {
    const want = (total * i) / (steps - 1);
    while (j < fine && lengths[j + 1]! < want) j++;
    const span = lengths[Math.min(fine, j + 1)]! - lengths[j]!;
    const part = span > 0 ? (want - lengths[j]!) / span : 0;
    out.push(curve(through, Math.min(1, (j + part) / fine)));
  }
  return out;
}

/** A ramp made ready for canvases. */
interface Ramp {
  /** Little-endian RGBA words for ImageData, index 0…255. */
  readonly words: Uint32Array;
  /** The same as CSS colours. */
  readonly css: readonly string[];
}

function makeRamp(theme: Theme): Ramp {
  const words = new Uint32Array(STEPS);
  const css: string[] = [];
  rampLab(theme).forEach((lab, i) => {
    const [r, g, b] = labToLinear(lab).map((x) => Math.round(255 * Math.min(1, Math.max(0, encode(Math.max(0, x)))))) as [
      number,
      number,
      number,
    ];
    words[i] = (0xff000000 | (b << 16) | (g << 8) | r) >>> 0;
    css.push(`rgb(${r} ${g} ${b})`);
  });
  return { words, css };
}

const made = new Map<Theme, Ramp>();

/** The ramp of a theme, made on first use. */
export function ramp(theme: Theme): Ramp {
  let r = made.get(theme);
  if (!r) made.set(theme, (r = makeRamp(theme)));
  return r;
}

/** The index into a ramp for a share, clamped to 0…1; NaN gives 0. */
export function step(share: number): number {
  return share > 0 ? Math.min(STEPS - 1, Math.round(share * (STEPS - 1))) : 0;
}
