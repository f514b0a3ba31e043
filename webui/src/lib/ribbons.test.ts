import { afterEach, expect, it, vi } from 'vitest';
import { Walker } from './columns';
import { bodyOrder, COLUMN, HOUR, Ribbon, Ribbons, spanOf, usedNow } from './ribbons';
import { hold, place, site } from './testplace';

const mat = { rows: 4, columns: 4, loaded_above: 20, calibrated: true, regions: [
  { id: 'pelvis', rows: [0, 1] as [number, number], columns: [0, 3] as [number, number] },
  { id: 'heels', rows: [2, 3] as [number, number], columns: [0, 3] as [number, number] },
] };

afterEach(() => vi.unstubAllGlobals());

function shares(ribbon: Ribbon, row: number, from: number, n: number): number[] {
  const walker = new Walker(ribbon.rows[row]!.columns, COLUMN * 1.5);
  walker.seek(ribbon.rows[row]!.columns.column(from));
  return Array.from({ length: n }, () => Number(walker.next().hi.toFixed(3)));
}

it('stacks subjects in the order of the body: regions as named, sites from the top down', () => {
  const bed = place('bed-1', { mat, holds: [hold({ subject: 'mat' }), hold({ subject: 'heels' }), hold({ subject: 'pelvis' })] });
  expect(bodyOrder(bed)).toEqual(['pelvis', 'heels', 'mat']);
  const leg = place('bench-1', { sites: [site('ankle', 12), site('knee', 50), site('calf', 31)], holds: ['ankle', 'calf', 'knee'].map((s) => hold({ subject: s })) });
  expect(bodyOrder(leg)).toEqual(['knee', 'calf', 'ankle']);
});

it('leaves out what no rule watches', () => {
  expect(bodyOrder(place('bed-1', { mat, holds: [hold({ subject: 'heels' })] }))).toEqual(['heels']);
});

it('shows the rule that has used most, and nothing where the condition is unknown', () => {
  const holds = [hold({ used: 0.2 }), hold({ rule: 'other', used: 0.7 })];
  expect(usedNow(place('a', { holds }), 'pelvis')).toBe(0.7);
  expect(usedNow(place('a', { holds: [hold({ used: 0.4, condition: 'unknown' })] }), 'pelvis')).toBeNaN();
  expect(usedNow(place('a', { holds: [hold({ used: 1, condition: 'unknown', raised: true })] }), 'pelvis')).toBe(1);
  expect(usedNow(place('a'), 'pelvis')).toBeNaN();
});

it('its tip differs when its end is drawn otherwise, and only then', () => {
  const ribbon = new Ribbon(['pelvis']);
  const at = 1000 * COLUMN;
  const tips = [0.5, 0.5001, 0.6, NaN].map((used, i) => {
    ribbon.rows[0]!.used = used;
    ribbon.extend(at + 1000 * i, HOUR);
    return ribbon.tip(at + 1000 * i);
  });
  expect(tips[1]).toBe(tips[0]);
  expect(tips[2]).not.toBe(tips[1]);
  expect(tips[3]).toBe(tips[2]); // a column shows the most that was in it
  ribbon.extend(at + COLUMN, HOUR);
  expect(ribbon.tip(at + COLUMN)).not.toBe(tips[3]);
});

it('carries the present on, column by column, also at many times the speed of life', () => {
  const ribbon = new Ribbon(['pelvis']);
  ribbon.rows[0]!.used = 0.5;
  ribbon.filled(1_000_000);
  ribbon.extend(1_000_000, 60_000);
  ribbon.extend(1_060_000, 60_000);
  ribbon.rows[0]!.used = NaN;
  ribbon.extend(1_090_000, 60_000);
  expect(shares(ribbon, 0, 1_000_000, 10)).toEqual([0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, NaN, NaN, NaN]);
  expect(ribbon.missing).toBeNull();
});

it('does not carry the present back over a silence: that is a hole', () => {
  const ribbon = new Ribbon(['pelvis']);
  ribbon.rows[0]!.used = 0.5;
  ribbon.extend(1_000_000, 3000);
  expect(ribbon.missing).toBe(-Infinity); // the hour before was not read yet
  ribbon.filled(1_000_000);
  ribbon.extend(1_040_000, 3000);
  expect(ribbon.missing).toBe(1_000_000);
  expect(shares(ribbon, 0, 1_000_000, 5)).toEqual([0.5, 0.5, NaN, NaN, 0.5]);
  ribbon.extend(1_041_000, 3000);
  expect(ribbon.missing).toBe(1_000_000);
});

it('shows as much of the hour as there is a record for', () => {
  expect([30_000, 700_000, 3_000_000, 9_000_000].map((age) => spanOf(0, age))).toEqual([HOUR / 6, HOUR / 2, HOUR, HOUR]);
  expect(spanOf(NaN, 5)).toBe(HOUR);
});

it('reads the hour from the record once, and after a silence only what is missing', async () => {
  const now = 10 * HOUR;
  const asked: URL[] = [];
  vi.stubGlobal('fetch', async (path: string) => {
    const url = new URL(path, 'http://x');
    asked.push(url);
    const from = Date.parse(url.searchParams.get('from')!);
    const to = Date.parse(url.searchParams.get('to')!);
    const t: string[] = [];
    for (let at = from; at < to; at += COLUMN) t.push(new Date(at).toISOString());
    const values = t.map((_, i) => (i === 1 ? null : 0.25));
    return { ok: true, json: async () => ({ step_s: 10, series: url.searchParams.getAll('name').map((name) => ({ name, unit: '1', t, min: values, mean: values, max: values })) }) };
  });
  const ribbons = new Ribbons();
  const bed = place('bed-1', { mat, holds: [hold({ used: 0.25 })] });
  await Promise.all([ribbons.fill(bed, now), ribbons.fill(bed, now)]);
  expect(asked).toHaveLength(1);
  expect(asked[0]!.searchParams.getAll('name')).toEqual(['pelvis.used/long-load']);
  expect(shares(ribbons.get('bed-1')!, 0, now - HOUR, 4)).toEqual([0.25, NaN, 0.25, 0.25]);

  expect(ribbons.began).toBe(now - HOUR);

  ribbons.tick(now, ['bed-1'], 3000);
  ribbons.tick(now + 2000, ['bed-1'], 3000);
  await ribbons.fill(bed, now + 2000);
  expect(ribbons.get('bed-1')!.missing).toBeNull();
  expect(asked).toHaveLength(1); // nothing is missing
  ribbons.tick(now + 60_000, ['bed-1'], 3000);
  await ribbons.fill(bed, now + 60_000);
  expect(Date.parse(asked[1]!.searchParams.get('from')!)).toBe(now + 2000 - COLUMN);
});
