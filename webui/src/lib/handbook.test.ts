import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { parseMarkdown, type Span } from './markdown';
import { PEOPLE, RATS } from './models';

const written = (language: string) => readFileSync(new URL(`../handbook/${language}.md`, import.meta.url), 'utf8');
const blocks = parseMarkdown(written('en'));
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

it('says the same in German: the same parts, figures and tables, and every number of each part', () => {
  const german = parseMarkdown(written('de'));
  const named = (all: typeof blocks) => all.slice(1).flatMap((b) => ('id' in b ? [`${b.level} ${b.id}`] : 'name' in b ? [`${b.kind} ${b.name}`] : []));
  expect(named(german)).toEqual(named(blocks));
  // Numbers by part, with the point of either language, in any order.
  const numbers = (text: string) => {
    const parts = text.split(/\{#([\w-]+)\}/);
    return Object.fromEntries(parts.flatMap((part, i) => (i % 2 ? [[part, (parts[i + 1]!.match(/\d+(?:[.,]\d+)?/g) ?? []).map((n) => n.replace(',', '.')).sort()]] : [])));
  };
  expect(numbers(written('de'))).toEqual(numbers(written('en')));
});
