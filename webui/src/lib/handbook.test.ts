import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { parseMarkdown, type Span } from './markdown';
import { PEOPLE, RATS } from './models';

const blocks = parseMarkdown(readFileSync(new URL('../handbook/en.md', import.meta.url), 'utf8'));
const ids = blocks.flatMap((b) => (b.kind === 'heading' && b.level > 1 ? [b.id] : []));
const sources = import.meta.glob<string>(['../views/*.svelte', '../lib/*.ts'], { eager: true, query: '?raw', import: 'default' });

it('has a chapter for each kind of user, and no address twice', () => {
  expect(ids).toEqual(expect.arrayContaining(['nurse', 'trainer', 'sitter', 'engineer', 'researcher']));
  expect(new Set(ids).size).toBe(ids.length);
});

it('every link to a number of it leads somewhere', () => {
  const spans = (b: (typeof blocks)[number]): Span[] => (b.kind === 'list' ? b.items.flat() : b.kind === 'paragraph' ? b.spans : []);
  const within = blocks.flatMap(spans).flatMap((s) => (s.kind === 'link' && s.to.startsWith('#') ? [s.to.slice(1)] : []));
  const from = Object.values(sources).flatMap((source) => [...source.matchAll(/<About part="([\w-]+)"/g)].map((m) => m[1]!));
  expect(within.length).toBeGreaterThan(0);
  expect(from.length).toBeGreaterThan(5);
  for (const id of [...within, ...from]) expect(ids).toContain(id);
});

it('draws every figure that it names', () => {
  const drawn = sources['../views/HandbookFigure.svelte']!;
  const named = blocks.flatMap((b) => (b.kind === 'figure' ? [b.name] : []));
  expect(named).toHaveLength(4);
  for (const name of named) expect(drawn).toContain(`name === '${name}'`);
});

it('its curves are the published ones, and disagree as it says', () => {
  // Linares et al. 2012, table 1, at 1, 4 and 8 h; Linder-Ganz et al. 2006: 32 kPa within an hour, 9 kPa for two and more.
  expect([1, 4, 8].map((h) => Math.round(PEOPLE(h)))).toEqual([555, 120, 41]);
  expect([4, 8].map((h) => Math.round(RATS(h)))).toEqual([60, 60]);
  expect(RATS(0.25)).toBeCloseTo(232.5, 0);
});
