import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import * as de from './de/text';
import { bench as deBench } from './de/text.bench';
import { calibrate as deCalibrate } from './de/text.calibrate';
import { itself as deItself } from './de/text.itself';
import { rehearse as deRehearse } from './de/text.rehearse';
import { seat as deSeat } from './de/text.seat';
import { senders as deSenders } from './de/text.senders';
import { parseMarkdown, type Span } from './markdown';
import { PEOPLE, RATS } from './models';
import * as en from './text';
import { bench as enBench } from './text.bench';
import { calibrate as enCalibrate } from './text.calibrate';
import { itself as enItself } from './text.itself';
import { rehearse as enRehearse } from './text.rehearse';
import { seat as enSeat } from './text.seat';
import { senders as enSenders } from './text.senders';

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

// What people meet on the pages has an entry: in either language, under the words that the pages have for it.
const schema = JSON.parse(readFileSync(new URL('../../../config/schema.json', import.meta.url), 'utf8')) as { $defs: { Rule: { properties: Record<string, { description?: string }> } } };
const bundles = {
  en: { text: en, bench: enBench, rehearse: enRehearse, seat: enSeat, senders: enSenders, calibrate: enCalibrate, itself: enItself },
  de: { text: de, bench: deBench, rehearse: deRehearse, seat: deSeat, senders: deSenders, calibrate: deCalibrate, itself: deItself },
};

describe.each(['en', 'de'] as const)('in %s', (language) => {
  const all = parseMarkdown(written(language));
  const said = bundles[language];
  const flat = (text: string) => text.replace(/\s+/g, ' ');
  /** The spans of a part, up to the next heading. */
  const part = (id: string): Span[] => {
    const from = all.findIndex((b) => b.kind === 'heading' && b.id === id);
    expect(from, id).toBeGreaterThanOrEqual(0);
    const after = all.slice(from + 1);
    const to = after.findIndex((b) => b.kind === 'heading');
    return (to < 0 ? after : after.slice(0, to)).flatMap((b) => (b.kind === 'list' ? b.items.flat() : b.kind === 'paragraph' ? b.spans : []));
  };
  const strong = (id: string) => part(id).flatMap((s) => (s.kind === 'strong' ? [s.text.toLowerCase()] : []));
  const holds = (id: string, names: string[]) => {
    expect(names.length, id).toBeGreaterThan(1);
    for (const name of names) expect(strong(id), `${id}: ${name}`).toContain(name.toLowerCase());
  };

  it('every page', () => {
    const { words, names } = said.text;
    // The pages are those that an address can lead to; a place is one of three kinds.
    const pages = [...readFileSync(new URL('./route.svelte.ts', import.meta.url), 'utf8').matchAll(/^ {2}\| \{ page: '(\w+)'/gm)].map((m) => m[1]!).filter((p) => p !== 'missing');
    expect(pages.length).toBeGreaterThan(10);
    holds('pages', pages.flatMap((p) => (p === 'place' ? [names.bed, names.seat, names.wrap] : [words[p as keyof typeof words]])));
    holds('pages', [said.seat.title, words.round]);
  });

  it('every state of a place, an alert, a bridge, a channel, a calibration, a try, and of weald itself', () => {
    holds('states', Object.values(said.text.states));
    holds('alert', Object.values(said.text.alerts.states));
    holds('channels', Object.values(said.text.setup.states));
    const health = readFileSync(new URL('../../../ingest/health/report.go', import.meta.url), 'utf8');
    holds('channels', [...health.matchAll(/case [A-Z]\w+:\s+return "(\w+)"/g)].map((m) => m[1]!));
    holds('calibration', (['accepted', 'accepted with warnings', 'rejected', 'refused'] as const).map((v) => said.calibrate.states[v]!));
    holds('attempt', Object.values(said.bench.verdicts));
    holds('itself', Object.values(said.itself.names));
  });

  it('every kind of rule, and nothing that is none', () => {
    const kinds = Object.entries(schema.$defs.Rule.properties).flatMap(([key, { description }]) => (description?.startsWith('True while') ? [key] : []));
    expect(kinds.length).toBeGreaterThanOrEqual(10);
    const entries = all.flatMap((b) => (b.kind === 'heading' && b.id.startsWith('rule-') ? [b] : []));
    expect(entries.map((b) => b.id.slice(5))).toEqual(kinds);
    for (const b of entries) {
      expect(b.spans[0]!.text.split(/[: ]/)[0]).toBe(b.id.slice(5));
      expect(part(b.id).map((s) => s.text).join('').length, b.id).toBeGreaterThan(100);
    }
  });

  it('every caution, in the words in which it is given elsewhere', () => {
    const cautions = flat(part('cautions').map((s) => s.text).join(' '));
    for (const words of [...said.text.caution.whole, said.bench.caution, said.rehearse.caution, said.senders.caution, said.seat.background]) {
      expect(cautions).toContain(flat(words));
    }
  });
});
