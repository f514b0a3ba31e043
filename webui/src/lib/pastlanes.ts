// Lanes of the past: for each point a shade from the lowest to the highest value
// and a line through the means, open where nothing is known.

import { ink } from './canvas';
import type { Past } from './link/history';

/** Where a time lies, in pixels of a picture that is so wide. */
export function xOf(at: number, from: number, to: number, width: number): number {
  return ((at - from) / (to - from)) * width;
}

/** The first of these times that is later than an instant. */
function after(t: Float64Array, at: number): number {
  let lo = 0;
  let hi = t.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (t[mid]! <= at) lo = mid + 1;
    else hi = mid;
  }
  return lo;
}

/** The points that lie in a stretch, also in part: from the first to before the second. */
export function within(t: Float64Array, step: number, from: number, to: number): [number, number] {
  return [after(t, from - step), after(t, to)];
}

/**
 * The point of a series that an instant lies in, -1 where there is none or nothing is known. Times
 * are told in whole ms and steps are not: the next point begins where one ends, be it a little later.
 */
export function pointAt(t: Float64Array, mean: Float64Array, step: number, at: number): number {
  const i = after(t, at) - 1;
  const end = t[i + 1]! < t[i]! + 1.5 * step ? t[i + 1]! : t[i]! + step;
  return i >= 0 && at < end && !Number.isNaN(mean[i]!) ? i : -1;
}

/** A round number at or above the highest value of all lanes, 20 at least. */
export function topOf(past: Past): number {
  let most = 0;
  for (const s of past.series) for (const v of s.max) if (v > most) most = v;
  const step = most > 100 ? 50 : 20;
  return Math.max(20, Math.ceil(most / step) * step);
}

/** Draws all lanes, the first on top; what was read may reach beyond the picture. */
export function paint(ctx: CanvasRenderingContext2D, past: Past, from: number, to: number, top: number, cursor: number): void {
  const { width, height } = ctx.canvas;
  const dpr = Math.max(1, Math.round(devicePixelRatio || 1));
  const lane = height / Math.max(1, past.series.length);
  ctx.clearRect(0, 0, width, height);
  past.series.forEach((s, k) => {
    const floor = Math.round((k + 1) * lane) - 2 * dpr;
    const y = (v: number) => floor - (Math.min(top, Math.max(0, v)) / top) * (lane - 6 * dpr);
    ctx.fillStyle = ink('--rule');
    ctx.fillRect(0, floor + dpr, width, 1);
    ctx.fillStyle = ink('--band-edge');
    const wide = Math.max(1, xOf(from + past.step, from, to, width));
    const [first, end] = within(s.t, past.step, from, to);
    for (let i = first; i < end; i++) {
      if (Number.isNaN(s.min[i]!)) continue;
      const upper = y(s.max[i]!);
      ctx.fillRect(xOf(s.t[i]!, from, to, width), upper, wide + 0.5, Math.max(dpr, y(s.min[i]!) - upper));
    }
    ctx.strokeStyle = ink('--ink');
    ctx.lineWidth = dpr;
    ctx.beginPath();
    let drawn = false;
    for (let i = first; i < end; i++) {
      const known = !Number.isNaN(s.mean[i]!);
      if (known) {
        const x = xOf(s.t[i]!, from, to, width);
        if (!drawn) ctx.moveTo(x, y(s.mean[i]!));
        ctx.lineTo(x, y(s.mean[i]!));
        ctx.lineTo(x + wide, y(s.mean[i]!));
      }
      drawn = known;
    }
    ctx.stroke();
  });
  if (Number.isFinite(cursor)) {
    ctx.fillStyle = ink('--ink');
    ctx.fillRect(Math.round(xOf(cursor, from, to, width)), 0, dpr, height);
  }
}
