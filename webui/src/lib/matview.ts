// Painting a mat: shades cell by cell, hatching where nothing is known, one
// line at a limit, and outlines of regions.

import { fit, hatch, ink } from './canvas';
import { isoLine } from './iso';
import type { Place, Region } from './link/types';
import { ramp, step, type Theme } from './ramp';

export type Shade = 'loaded' | 'pressure';

/**
 * How far along the ramp a value is. Time goes by its square root: the first
 * minutes of a load are to be seen though the scale reaches for hours.
 */
export function shadeOf(shade: Shade, top: number): (v: number) => number {
  return shade === 'loaded' ? (v) => (v > 0 ? Math.sqrt(v / top) : 0) : (v) => v / top;
}

const NICE = [10, 30, 60, 300, 900, 1800, 3600, 7200, 14_400, 28_800];

/** Values for the ticks of a legend: the ends, and some between. */
export function ticksOf(shade: Shade, top: number): number[] {
  if (shade === 'pressure') return [0, top / 2, top];
  const share = shadeOf(shade, top);
  const ticks = [0];
  for (const v of NICE) if (v < top && share(v) - share(ticks.at(-1)!) >= 0.18 && share(v) <= 0.75) ticks.push(v);
  return [...ticks, top];
}

interface MatPicture {
  rows: number;
  columns: number;
  /** mmHg, NaN unknown. */
  pressure: Float32Array;
  /** Seconds since the last relief, NaN unknown. */
  loaded: Float32Array;
}

interface MatLook {
  shade: Shade;
  theme: Theme;
  /** What the far end of the ramp stands for, in seconds or mmHg. */
  top: number;
  /** mmHg of the line, NaN for none. */
  limit: number;
  regions: readonly Region[];
  raw: boolean;
}

export function newPicture(rows: number, columns: number): MatPicture {
  const n = rows * columns;
  return { rows, columns, pressure: new Float32Array(n).fill(NaN), loaded: new Float32Array(n).fill(NaN) };
}

/** A painter for one canvas. What it needs for its work is made once. */
export function matPainter(canvas: HTMLCanvasElement): (m: MatPicture, look: MatLook) => void {
  const small = document.createElement('canvas');
  let image: ImageData | undefined;
  let words = new Uint32Array();
  let lines = new Float32Array();

  return (m, look) => {
    fit(canvas);
    const ctx = canvas.getContext('2d');
    const tiny = small.getContext('2d');
    if (!ctx || !tiny) return;
    const { rows, columns } = m;
    if (!image || image.width !== columns || image.height !== rows) {
      small.width = columns;
      small.height = rows;
      image = tiny.createImageData(columns, rows);
      words = new Uint32Array(image.data.buffer);
      lines = new Float32Array(16 * (rows + 1) * (columns + 1));
    }

    const values = look.shade === 'loaded' ? m.loaded : m.pressure;
    const shades = ramp(look.theme).words;
    const share = shadeOf(look.shade, look.top);
    let unknown = 0;
    for (let i = 0; i < values.length; i++) {
      const v = values[i]!;
      if (v !== v) unknown++;
      words[i] = v === v ? shades[step(share(v))]! : 0;
    }
    tiny.putImageData(image, 0, 0);

    const { width, height } = canvas;
    const sx = width / columns;
    const sy = height / rows;
    ctx.clearRect(0, 0, width, height);
    if (unknown > 0) {
      ctx.fillStyle = hatch(ctx, ink('--edge'), Math.max(6, Math.round(7 * (devicePixelRatio || 1))));
      ctx.fillRect(0, 0, width, height);
    }
    ctx.imageSmoothingEnabled = !look.raw;
    ctx.drawImage(small, 0, 0, width, height);

    const wide = Math.max(1, Math.round(devicePixelRatio || 1));
    if (!Number.isNaN(look.limit)) {
      const n = isoLine(m.pressure, rows, columns, look.limit, lines);
      ctx.beginPath();
      for (let i = 0; i < n; i += 4) {
        ctx.moveTo(lines[i]! * sx, lines[i + 1]! * sy);
        ctx.lineTo(lines[i + 2]! * sx, lines[i + 3]! * sy);
      }
      // Twice, so that it stands out from light and from dark shades.
      ctx.lineCap = 'round';
      stroke(ctx, ink('--ground'), 4.5 * wide);
      stroke(ctx, ink('--ink'), 1.75 * wide);
    }

    if (look.regions.length > 0) {
      ctx.beginPath();
      for (const { rows: r, columns: c } of look.regions) {
        ctx.rect(c[0] * sx, r[0] * sy, (c[1] - c[0] + 1) * sx, (r[1] - r[0] + 1) * sy);
      }
      stroke(ctx, ink('--ground'), 3 * wide);
      ctx.setLineDash([5 * wide, 4 * wide]);
      stroke(ctx, ink('--ink'), wide);
      ctx.setLineDash([]);
    }
  };
}

function stroke(ctx: CanvasRenderingContext2D, colour: string, width: number): void {
  ctx.strokeStyle = colour;
  ctx.lineWidth = width;
  ctx.stroke();
}

/** What can be said of some cells: a region, or the whole mat. */
export interface Figures {
  peak: number; // mmHg, NaN where no cell is known
  peakAt: number; // index of that cell, -1 for none
  longest: number; // seconds, NaN where none is known
  longestAt: number;
  unknown: number; // cells
  cells: number;
}

/** What the table says of a region. Peak and mean are the signals that rules judge and not worked out from the map. */
export interface RegionFigures {
  id: string;
  peak: number; // mmHg, NaN unknown
  mean: number; // of the cells in contact
  longest: number; // seconds
}

/** The signals behind that table. */
export function regionSignals(place: Place): string[] {
  return (place.mat?.regions ?? []).flatMap((r) => [`${r.id}.peak`, `${r.id}.mean`]);
}

/** Figures of the cells in a rectangle of rows and columns, bounds inclusive. */
export function figures(m: MatPicture, rows: readonly [number, number], columns: readonly [number, number]): Figures {
  const f: Figures = { peak: NaN, peakAt: -1, longest: NaN, longestAt: -1, unknown: 0, cells: 0 };
  for (let r = rows[0]; r <= rows[1]; r++) {
    for (let c = columns[0]; c <= columns[1]; c++) {
      const i = r * m.columns + c;
      const v = m.pressure[i]!;
      f.cells++;
      if (v !== v) {
        f.unknown++;
        continue;
      }
      if (!(v <= f.peak)) [f.peak, f.peakAt] = [v, i];
      const held = m.loaded[i]!;
      if (held === held && !(held <= f.longest)) [f.longest, f.longestAt] = [held, i];
    }
  }
  return f;
}
