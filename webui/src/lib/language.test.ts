import { describe, expect, it } from 'vitest';
import { languageOf } from './language';
import { plurals } from './plural';

const english = import.meta.glob<Record<string, unknown>>('./text*.ts', { eager: true });
const others = import.meta.glob<Record<string, unknown>>('./*/text*.ts', { eager: true });

/** What a text is called, and what it is, through all depths. */
function* leaves(of: unknown, name: string): Generator<[string, unknown]> {
  if (typeof of === 'object' && of !== null) for (const [key, value] of Object.entries(of)) yield* leaves(value, `${name}.${key}`);
  else yield [name, of];
}

type Text = (...given: unknown[]) => string;

// Arguments that can be found again in what is said. Not all fit each function: a number
// is no list, and a text cannot be counted.
const GIVEN: ((i: number) => unknown)[] = [(i) => `‹${i}›`, (i) => 7001 + 10 * i, (i) => [`‹${i}a›`, `‹${i}b›`], (i) => [7000 + 10 * i, 7001 + 10 * i]];

/** Which of the marks a function's words hold, for every mix of up to three arguments of each sort; "" where it takes none. */
function held(f: Text, sorts: number[]): string {
  try {
    const said = f(...sorts.map((s, i) => GIVEN[s]!(i)));
    return (said.match(/‹\w+›|7\d{3}/g) ?? []).sort().join(' ');
  } catch {
    return '';
  }
}

function mixes(n: number): number[][] {
  return n === 0 ? [[]] : mixes(n - 1).flatMap((m) => GIVEN.map((_, s) => [...m, s]));
}

const folders = Object.keys(others).map((path) => path.split('/') as ['.', string, string]);

describe('languages', () => {
  it('are those that have a folder', () => {
    expect(new Set(folders.map(([, folder]) => folder))).toEqual(new Set(['de']));
  });

  it.each(folders.map(([, folder, file]) => [`./${folder}/${file}`, `./${file}`]))('%s says all that the English says, and nothing else', (there, here) => {
    const [words, own] = [new Map(leaves(english[here], '')), new Map(leaves(others[there], ''))];
    expect(words.size).toBeGreaterThan(5);
    expect([...own.keys()].sort()).toEqual([...words.keys()].sort());
    for (const [name, text] of words) {
      const said = own.get(name);
      expect(typeof said, name).toBe(typeof text);
      if (typeof text !== 'function') {
        expect(said === '', name).toBe(text === '');
        continue;
      }
      // The same of what it is given appears in both.
      for (const mix of mixes(Math.min(5, text.length))) expect(held(said as Text, mix), `${name} of ${mix}`).toBe(held(text as Text, mix));
    }
  });

  // A part that is imported by itself shows English words until something else has them translated.
  it('are spoken by every part of the pages that is loaded later', () => {
    const sources = import.meta.glob<string>('../**/*.svelte', { eager: true, query: '?raw', import: 'default' });
    const bare = Object.entries(sources).filter(([, source]) => /#await (?!inLanguage\()/.test(source) && /#await import/.test(source));
    expect(Object.keys(sources).length).toBeGreaterThan(50);
    expect(bare.map(([name]) => name)).toEqual([]);
  });

  // What the pages call by another name elsewhere, and its name.
  const ONE_WORD: [RegExp, string][] = [
    [/(?<!Normen für )\bAlarme?n?\b/, 'Meldung'], [/\bMarken?\b/, 'Vermerk'], [/\bWandschirm/, 'Wandbildschirm'], [/\bToken\b/, 'Schlüssel'],
    [/(?<!-)\bCode\b/, 'Kürzel'], [/[Ee]xportiert/, 'ausgegeben'], [/\bzurückgezogen/, 'zurückgenommen'],
  ];
  const german = Object.entries(others).filter(([path]) => path.startsWith('./de/'));
  const said = german.flatMap(([path, words]) => [...leaves(words, path)].map(([name, text]) => [name, String(text)] as const));
  it('German has one word for one thing', () => {
    for (const [wrong, right] of ONE_WORD) expect(said.filter(([, text]) => wrong.test(text)).map(([name]) => name), `it is ${right}`).toEqual([]);
  });
  it('German puts a blank before an ellipsis, at which no line ends', () => {
    expect(said.filter(([, text]) => /[^\u00a0]…/.test(text.replace(/\\u00a0|\\xa0/gi, '\u00a0').replace(/^…$/, ''))).map(([name]) => name)).toEqual([]);
  });

  it('is what was chosen, else what the browser wishes for, else English', () => {
    expect(languageOf('de', ['en-GB'])).toBe('de');
    expect(languageOf(null, ['fr-CH', 'de-CH', 'en'])).toBe('de');
    expect(languageOf('xx', ['fr'])).toBe('en');
    expect(languageOf(null, [])).toBe('en');
    expect(languageOf('toString', ['constructor'])).toBe('en');
  });
});

it('a number has the form that its language gives it', () => {
  const [en, de] = [plurals('en'), plurals('de')];
  expect([0, 1, 2, 1.5].map((n) => en(n, { one: 'channel', other: 'channels' }))).toEqual(['channels', 'channel', 'channels', 'channels']);
  expect([0, 1, 2].map((n) => de(n, { one: 'Kanal', other: 'Kanäle' }))).toEqual(['Kanäle', 'Kanal', 'Kanäle']);
  // Unicode CLDR, plural rules: Polish tells 2 to 4 from 5.
  expect([1, 3, 5].map((n) => plurals('pl')(n, { one: 'kanał', few: 'kanały', other: 'kanałów' }))).toEqual(['kanał', 'kanały', 'kanałów']);
});
