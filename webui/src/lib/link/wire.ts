// Binary frames of the live connection, weald.live.v1: little endian, a header
// of 16 bytes (kind u8, flags u8, n u16, number u32, base f64 in milliseconds
// since the epoch) and typed data that is always aligned, so that it is read
// in place. Whatever is too short, too long or of an unknown kind is null.

export interface Block {
  readonly stream: number;
  /** Milliseconds after the frame's base; may be negative. */
  readonly t: Int32Array;
  /** Values, NaN where unknown. */
  readonly v: Float32Array;
}

interface Head {
  readonly number: number;
  /** Newer data replaced older on its way here. */
  readonly skipped: boolean;
  /** Event time, milliseconds since the epoch. */
  readonly base: number;
}

export interface SamplesFrame extends Head {
  readonly kind: 'samples';
  readonly blocks: readonly Block[];
}

export interface MapFrame extends Head {
  readonly kind: 'pressure' | 'loaded';
  readonly stream: number;
  readonly rows: number;
  readonly columns: number;
  /** What one unit of a cell is: mmHg, or seconds. */
  readonly scale: number;
  /** Row by row; `unknown` where there is no value. */
  readonly cells: Int16Array | Uint16Array;
  readonly unknown: number;
}

export type Frame = SamplesFrame | MapFrame;

const HEADER = 16;
const MAP_HEADER = 12;

export function decode(buffer: ArrayBuffer): Frame | null {
  if (buffer.byteLength < HEADER) return null;
  const view = new DataView(buffer);
  const base = view.getFloat64(8, true);
  if (!Number.isFinite(base)) return null;
  const head: Head = { number: view.getUint32(4, true), skipped: (view.getUint8(1) & 1) !== 0, base };
  switch (view.getUint8(0)) {
    case 1:
      return samples(view, head);
    case 2:
      return map(view, head, 'pressure');
    case 3:
      return map(view, head, 'loaded');
  }
  return null;
}

function samples(view: DataView, head: Head): SamplesFrame | null {
  const blocks: Block[] = [];
  let at = HEADER;
  for (let n = view.getUint16(2, true); n > 0; n--) {
    if (at + 4 > view.byteLength) return null;
    const stream = view.getUint16(at, true);
    const count = view.getUint16(at + 2, true);
    const values = at + 4 + 4 * count;
    if (values + 4 * count > view.byteLength) return null;
    blocks.push({
      stream,
      t: new Int32Array(view.buffer as ArrayBuffer, at + 4, count),
      v: new Float32Array(view.buffer as ArrayBuffer, values, count),
    });
    at = values + 4 * count;
  }
  return at === view.byteLength ? { ...head, kind: 'samples', blocks } : null;
}

function map(view: DataView, head: Head, kind: MapFrame['kind']): MapFrame | null {
  if (view.byteLength < HEADER + MAP_HEADER) return null;
  const rows = view.getUint16(HEADER + 2, true);
  const columns = view.getUint16(HEADER + 4, true);
  const scale = view.getFloat32(HEADER + 8, true);
  const at = HEADER + MAP_HEADER;
  if (rows === 0 || columns === 0 || !(scale > 0) || view.byteLength !== at + 2 * rows * columns) return null;
  const buffer = view.buffer as ArrayBuffer;
  return {
    ...head,
    kind,
    stream: view.getUint16(HEADER, true),
    rows,
    columns,
    scale,
    cells: kind === 'pressure' ? new Int16Array(buffer, at) : new Uint16Array(buffer, at),
    unknown: kind === 'pressure' ? -32768 : 65535,
  };
}
