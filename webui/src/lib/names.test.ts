import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';

// Titles and labels of the pages are judged in the list that has the names of commands,
// settings and the rest, which its head explains; cmd/weald tests those.

const files = import.meta.glob<Record<string, unknown>>('./text*.ts', { eager: true });

function* leaves(of: unknown, name: string): Generator<[string, string]> {
  if (typeof of === 'string') yield [name, of];
  else if (typeof of === 'object' && of !== null) for (const [key, value] of Object.entries(of)) yield* leaves(value, `${name}.${key}`);
}

/** Of the words that are no titles themselves, those that the bar at the top leads to pages by. */
const PAGES = /^words\.(round|alerts|setup|records|bench|calibrate|rehearse|configuration|source|notes|handbook|screen)$/;

/** What names something rather than saying a sentence. */
const isLabel = (text: string) => text !== '' && text.split(/\s+/).length <= 3 && !/[.?:]$/.test(text);

it('every title and label of a page is judged: of the trade, of a standard, or ours', () => {
  const given = { 'page title': new Set<string>(), label: new Set<string>() };
  const words = Object.values(files).flatMap((file) => Object.entries(file)).flatMap(([name, value]) => [...leaves(value, name)]);
  for (const [name, text] of words) if (name.endsWith('.title') || PAGES.test(name)) given['page title'].add(text);
  for (const [, text] of words) if (isLabel(text) && !given['page title'].has(text)) given.label.add(text);

  const judged = { 'page title': new Set<string>(), label: new Set<string>() };
  for (const line of readFileSync(new URL('../../../cmd/weald/testdata/names.tsv', import.meta.url), 'utf8').split('\n')) {
    const [of, , names] = line.split('\t');
    if (of === 'page title' || of === 'label') for (const name of names!.split(' | ')) judged[of].add(name);
  }
  expect(given.label.size).toBeGreaterThan(300);
  for (const of of ['page title', 'label'] as const) {
    expect([...given[of]].filter((name) => !judged[of].has(name)), `${of}s that cmd/weald/testdata/names.tsv does not judge`).toEqual([]);
    expect([...judged[of]].filter((name) => !given[of].has(name)), `${of}s that are judged, and that no page has`).toEqual([]);
  }
});
