// Which language the pages speak. Words are written in English in text*.ts; another
// language is a folder of files of the same names, which are loaded only where it is
// spoken. It takes the place of the English words before a page is drawn, so that
// pages ask for words and never for a language.

import { remember } from './remember';

/** Each by the name that its speakers have for it. */
export const LANGUAGES = { en: 'English', de: 'Deutsch' } as const;
export type Language = keyof typeof LANGUAGES;

/** What a catalogue has in another language: a text for a text, a function of the same arguments for a function. */
export type Said<T> = T extends string ? string : T extends (...a: infer A) => string ? (...a: A) => string : { readonly [K in keyof T]: Said<T[K]> };

type Words = Record<string, object>;

const KEY = 'weald.language';

const isLanguage = (code: string | null | undefined): code is Language => code != null && Object.hasOwn(LANGUAGES, code);

/** The language that was chosen, else the first that the browser asks for and the pages speak, else English. */
export function languageOf(chosen: string | null, wishes: readonly string[]): Language {
  if (isLanguage(chosen)) return chosen;
  return wishes.map((w) => w.toLowerCase().split('-')[0]).find(isLanguage) ?? 'en';
}

let spoken: Language = 'en';

export const language = () => spoken;

/** For numbers and dates. English is written as in Britain: 3 Feb, 24 h. */
export const locale = () => (spoken === 'en' ? 'en-GB' : spoken);

/** Chooses a language for this browser. The page is loaded anew, as all of its words change. */
export function speak(choice: Language): void {
  remember(KEY, choice);
  location.reload();
}

const english = new Map<string, Words>();

/** Says that these words exist in other languages too, in files of that name. */
export function catalogue(name: string, words: Words): void {
  english.set(name, words);
}

const files = import.meta.glob<Words>('./*/text*.ts');

async function translate(): Promise<void> {
  await Promise.all(
    [...english].map(async ([name, words]) => {
      take(words, await files[`./${spoken}/${name}.ts`]!());
      english.delete(name);
    }),
  );
}

/** Speaks the language that was chosen, or that the browser wishes for; resolves when the words of the first page are in it. */
export async function begin(wishes: readonly string[]): Promise<void> {
  spoken = languageOf(remember(KEY), wishes);
  if (spoken !== 'en') {
    await translate().catch(() => (spoken = 'en')); // better than nothing
  }
  document.documentElement.lang = spoken;
}

/** A part of the pages that is loaded later, with its words translated. */
export async function inLanguage<M>(part: Promise<M>): Promise<M> {
  const module = await part;
  if (spoken !== 'en') await translate();
  return module;
}

function take(to: object, from: object): void {
  for (const [key, value] of Object.entries(from)) {
    const old = (to as Words)[key];
    if (typeof old === 'object' && typeof value === 'object') take(old, value as object);
    else (to as Record<string, unknown>)[key] = value;
  }
}
