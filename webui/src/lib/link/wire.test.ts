import { describe, expect, it } from 'vitest';
import { decode, type MapFrame, type SamplesFrame } from './wire';

function header(kind: number, size: number, n = 0, flags = 0): DataView {
  const view = new DataView(new ArrayBuffer(size));
  view.setUint8(0, kind);
  view.setUint8(1, flags);
  view.setUint16(2, n, true);
  view.setUint32(4, 4_000_000_001, true);
  view.setFloat64(8, 1_700_000_000_123.5, true);
  return view;
}

function twoBlocks(): ArrayBuffer {
  const view = header(1, 16 + 4 + 16 + 4 + 8, 2, 1);
  view.setUint16(16, 3, true);
  view.setUint16(18, 2, true);
  view.setInt32(20, -40, true);
  view.setInt32(24, 60, true);
  view.setFloat32(28, 41.25, true);
  view.setFloat32(32, NaN, true);
  view.setUint16(36, 65535, true);
  view.setUint16(38, 1, true);
  view.setInt32(40, 0, true);
  view.setFloat32(44, -2.5, true);
  return view.buffer as ArrayBuffer;
}

function aMap(kind: 2 | 3): ArrayBuffer {
  const view = header(kind, 16 + 12 + 12);
  view.setUint16(16, 40, true);
  view.setUint16(18, 2, true);
  view.setUint16(20, 3, true);
  view.setFloat32(24, kind === 2 ? 0.1 : 1, true);
  [0, 410, -32768, -5, 32767, 1].forEach((x, i) => view.setInt16(28 + 2 * i, x, true));
  return view.buffer as ArrayBuffer;
}

describe('samples', () => {
  it('come as blocks of typed arrays', () => {
    const frame = decode(twoBlocks()) as SamplesFrame;
    expect(frame).toMatchObject({ kind: 'samples', number: 4_000_000_001, skipped: true, base: 1_700_000_000_123.5 });
    expect(frame.blocks.map((b) => [b.stream, [...b.t], [...b.v]])).toEqual([
      [3, [-40, 60], [41.25, NaN]],
      [65535, [0], [-2.5]],
    ]);
  });

  it('may be none', () => {
    expect(decode(header(1, 16).buffer as ArrayBuffer)).toMatchObject({ kind: 'samples', blocks: [], skipped: false });
  });
});

describe('maps', () => {
  it('of pressure are signed, with one value for unknown', () => {
    const frame = decode(aMap(2)) as MapFrame;
    expect(frame).toMatchObject({ kind: 'pressure', stream: 40, rows: 2, columns: 3, unknown: -32768 });
    expect(frame.scale).toBeCloseTo(0.1);
    expect([...frame.cells]).toEqual([0, 410, -32768, -5, 32767, 1]);
  });

  it('of loaded time are unsigned', () => {
    const frame = decode(aMap(3)) as MapFrame;
    expect(frame).toMatchObject({ kind: 'loaded', unknown: 65535, scale: 1 });
    expect(frame.cells[2]).toBe(32768);
  });
});

describe('what is not a frame is null', () => {
  it.each([
    ['samples', twoBlocks()],
    ['a map', aMap(2)],
  ])('%s cut anywhere, or with a byte too many', (_, whole) => {
    for (let n = 0; n < whole.byteLength; n++) expect(decode(whole.slice(0, n))).toBeNull();
    const longer = new Uint8Array(whole.byteLength + 1);
    longer.set(new Uint8Array(whole));
    expect(decode(longer.buffer)).toBeNull();
  });

  it('an unknown kind, a time that is no number, a map without cells or scale', () => {
    expect(decode(header(9, 64).buffer as ArrayBuffer)).toBeNull();
    const timeless = new DataView(twoBlocks());
    timeless.setFloat64(8, NaN, true);
    expect(decode(timeless.buffer as ArrayBuffer)).toBeNull();
    const empty = header(2, 28);
    empty.setFloat32(24, 1, true);
    expect(decode(empty.buffer as ArrayBuffer)).toBeNull();
    const scaleless = new DataView(aMap(2));
    scaleless.setFloat32(24, 0, true);
    expect(decode(scaleless.buffer as ArrayBuffer)).toBeNull();
  });

  it('random bytes never throw', () => {
    let seed = 7;
    const random = () => (seed = (seed * 1103515245 + 12345) & 0x7fffffff);
    for (let i = 0; i < 5000; i++) {
      const bytes = new Uint8Array(random() % 80).map(() => random() >> 8);
      if (bytes.length) bytes[0] = 1 + (random() % 3);
      const frame = decode(bytes.buffer);
      if (frame?.kind === 'samples') expect(frame.blocks.length).toBe(new DataView(bytes.buffer).getUint16(2, true));
    }
  });
});
