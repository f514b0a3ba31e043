// A small drawing with two axes, in the units of its viewBox.

import { marks, type Tick } from './ticks';

interface Range {
  low: number;
  high: number;
  /** Of pressures: their ticks are round in the unit that is shown. */
  unit?: 'mmHg';
}

export interface Frame {
  width: number;
  height: number;
  left: number;
  right: number;
  top: number;
  bottom: number;
  px(v: number): number;
  py(v: number): number;
  xs: Tick[];
  ys: Tick[];
}

export function frame(x: Range, y: Range, height = 280): Frame {
  const [width, left, right, top, bottom] = [420, 56, 14, 12, 40];
  return {
    width, height, left, right, top, bottom,
    px: (v) => left + ((v - x.low) / (x.high - x.low)) * (width - left - right),
    py: (v) => height - bottom - ((v - y.low) / (y.high - y.low)) * (height - top - bottom),
    xs: marks(x.low, x.high, 5, x.unit),
    ys: marks(y.low, y.high, 5, y.unit),
  };
}

/** The path through points, in the units of the frame. */
export const pathOf = (f: Frame, xs: readonly number[], ys: readonly number[]) => xs.map((x, i) => `${i ? 'L' : 'M'}${f.px(x).toFixed(1)} ${f.py(ys[i]!).toFixed(1)}`).join('');
