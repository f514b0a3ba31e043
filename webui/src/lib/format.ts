// How numbers, durations and times are written. Times are 24 h in the site's
// zone, with the date where it is not today's; a number has no more digits
// than its uncertainty supports. All are written as the language of the pages
// writes them, and pressures in the unit that this browser shows.

import { locale } from './language';
import { names, words, wrap } from './text';
import { factorOf, finer, saidInUnit, unitShown } from './units.svelte';

let zone: string | undefined;

/** Sets the zone of the site, an IANA name. Unknown names leave the browser's. */
export function setZone(name: string | undefined): void {
  try {
    new Intl.DateTimeFormat('en-GB', { timeZone: name });
    zone = name;
  } catch {
    zone = undefined;
  }
}

const formats = new Map<string, Intl.DateTimeFormat>();

function format(key: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const full = `${key} ${zone}`;
  let f = formats.get(full);
  if (!f) formats.set(full, (f = new Intl.DateTimeFormat(locale(), { ...options, hourCycle: 'h23', timeZone: zone })));
  return f;
}

function day(ms: number): string {
  return format('day', { day: 'numeric', month: 'short', year: 'numeric' }).format(ms);
}

/** "10:42", "10:42:07" with seconds, "3 Feb 10:42" where that is not the day of now. */
export function clockTime(ms: number, now: number, seconds = false): string {
  if (!Number.isFinite(ms)) return words.dash;
  const time = format(seconds ? 's' : 'm', { hour: '2-digit', minute: '2-digit', second: seconds ? '2-digit' : undefined }).format(ms);
  if (!Number.isFinite(now) || day(ms) === day(now)) return time;
  return `${format('date', { day: 'numeric', month: 'short' }).format(ms)} ${time}`;
}

/** An RFC 3339 time in ms since the epoch, NaN for null or nonsense. */
export function instant(s: string | null | undefined): number {
  return s ? Date.parse(s) : NaN;
}

/** "48 s", "18 min", "1 h 42 min", "2 d 3 h". */
export function duration(ms: number): string {
  if (!Number.isFinite(ms)) return words.dash;
  const s = Math.max(0, Math.round(ms / 1000));
  if (s < 90) return `${s} s`;
  const min = Math.round(s / 60);
  if (min < 60) return `${min} min`;
  const h = Math.floor(min / 60);
  if (h < 48) return min % 60 ? `${h} h ${min % 60} min` : `${h} h`;
  return `${Math.floor(h / 24)} d ${h % 24} h`;
}

const numerals = new Map<string, Intl.NumberFormat>();

function written(value: number, decimals: number, grouped: boolean): string {
  const key = `${decimals} ${grouped}`;
  let f = numerals.get(key);
  if (!f) numerals.set(key, (f = new Intl.NumberFormat(locale(), { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: grouped, signDisplay: 'negative' })));
  return f.format(value).replace('-', '\u2212');
}

/** A number with so many decimals, its minus a true one; what rounds to nothing has none. */
export const fixed = (value: number, decimals: number) => written(value, decimals, false);

/** A round number with all of its decimals. */
export const numeral = (value: number) => fixed(value, decimalsIn(value));

const decimalsIn = (value: number) => /\.(\d+)$/.exec(String(value))?.[1]?.length ?? 0;

/** A change with its sign, one decimal in mmHg, without its unit; that of nothing is +0.0. */
export function change(value: number, unit: string): string {
  const text = fixed(value * factorOf(unit), 1 + finer(unit));
  return text.startsWith('\u2212') ? text : `+${text}`;
}

/** The same with its unit. */
export const difference = (value: number, unit: string) => `${change(value, unit)} ${unitName(unit)}`;

/** The digits that an uncertainty supports: one decimal below 1, none above. */
export const decimalsOf = (value: number, u?: number | null) => (u != null && u >= 1 ? 0 : Math.abs(value) < 10 || (u != null && u < 1) ? 1 : 0);

/** A number with the digits that its uncertainty supports. */
export function number(value: number | null | undefined, u?: number | null): string {
  return bare(value, u, '1');
}

/** The same of a value in a unit, without it: for where the unit stands beside many. */
export function bare(value: number | null | undefined, u: number | null | undefined, unit: string): string {
  if (value == null || !Number.isFinite(value)) return words.dash;
  return fixed(value * factorOf(unit), decimalsOf(value, u) + finer(unit));
}

/** "41 ± 2 mmHg"; a dash and a word where the value is unknown. */
export function quantity(value: number | null | undefined, u: number | null | undefined, unit: string): string {
  if (value == null || !Number.isFinite(value)) return `${words.dash} ${words.unknown}`;
  const doubt = u != null && Number.isFinite(u) ? ` ± ${fixed(u * factorOf(unit), decimalsOf(u, u) + finer(unit))}` : '';
  return `${bare(value, u, unit)}${doubt} ${unitName(unit)}`.trim();
}

/** What somebody has set, without a unit and with all of its digits: 60 mmHg is 60, or 8.0 in kPa. */
export function set(value: number, unit: string): string {
  const decimals = Math.min(3, decimalsIn(value) + finer(unit));
  if (factorOf(unit) === 1) return fixed(value, decimals);
  // What was set in kPa has many digits in mmHg, and few here: 10.500862 mmHg is 1.4 kPa.
  const shown = Number((value * factorOf(unit)).toFixed(decimals));
  return fixed(shown, Math.max(1, decimalsIn(shown)));
}

/** "60 mmHg" of a limit. */
export const bound = (value: number, unit: string) => `${set(value, unit)} ${unitName(unit)}`.trim();

/** A figure of an instrument or of its calibration, such as an uncertainty, without its unit: one decimal in mmHg. */
export const figureOf = (value: number | null, unit: string) => (value === null ? words.dash : fixed(value * factorOf(unit), 1 + finer(unit)));

/** The same with its unit. */
export const fine = (value: number | null, unit: string) => (value === null ? words.dash : `${figureOf(value, unit)} ${unitName(unit)}`);

/** "35 to 45 mmHg" of a site's target, either end of which may be open: 0 and Infinity. */
export function targetWords([lo, hi]: readonly [number, number]): string {
  if (hi === Infinity) return wrap.targetFrom(bound(lo, 'mmHg'));
  return lo <= 0 ? wrap.targetUpTo(bound(hi, 'mmHg')) : wrap.targetOf(set(lo, 'mmHg'), bound(hi, 'mmHg'));
}

export function unitName(unit: string): string {
  if (unit === 'cm2') return 'cm²';
  return unit === '1' ? '' : unitShown(unit);
}

/** "83 %", never 100 % before it is reached. */
export function percent(share: number | null | undefined): string {
  if (share == null || !Number.isFinite(share)) return words.dash;
  return `${share >= 1 ? Math.round(share * 100) : Math.min(99, Math.round(share * 100))} %`;
}

/** A sentence in which no line ends between a number and what belongs to it. */
export function unbroken(sentence: string): string {
  return sentence.replace(/ (?=±|mmHg|kPa)|(?<=\d) (?=(?:min|s|h|d|cm2?|ppm|k?B|MB|GB|V)\b|%)/g, '\u00a0').replace(/± /g, '±\u00a0');
}

/** A sentence in which no line ends at the hyphen of a code or of a place's name, such as N-4: a word joiner, which nobody sees, follows it. */
export const unparted = (sentence: string) => sentence.replace(/(?<=\p{L})-(?=\d)/gu, '-\u2060');

/** A sentence that the daemon has made, with its pressures in the unit that is shown. */
export const told = (sentence: string) => unparted(unbroken(saidInUnit(sentence)));

/** What a rule is about, as words: a site, two of them, a region, or all of a mat. */
export function subjectName(id: string): string {
  return id === 'mat' ? words.wholeMat : id.split('-').map(plain).join('-');
}

/** An identifier as words: "front_left" to "front left", common names in the language of the pages. */
export function plain(id: string): string {
  return id.split('_').map((part) => (Object.hasOwn(names, part) ? names[part as keyof typeof names] : part)).join(' ');
}

/** A count or a raw reading, its thousands apart: "2,048". Decimals only where it has some. */
export const count = (n: number) => written(n, Number.isInteger(n) ? 0 : 1, true);

/** "812 B", "12 kB", "3.4 MB" */
export function size(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  if (bytes < 1e6) return `${fixed(bytes / 1e3, bytes < 1e4 ? 1 : 0)} kB`;
  return bytes < 1e9 ? `${fixed(bytes / 1e6, 1)} MB` : `${fixed(bytes / 1e9, 1)} GB`;
}

/** A small share with two digits: "0.04 %", "1.2 %". */
export function smallShare(part: number, whole: number): string {
  const share = whole > 0 ? (100 * part) / whole : 0;
  if (share === 0) return '0 %';
  if (share < 0.01) return `< ${fixed(0.01, 2)} %`;
  return `${fixed(share, share < 1 ? 2 : share < 10 ? 1 : 0)} %`;
}

/** A time in ms as a form has it, in the site's zone: "2026-03-01T22:15". */
export function toForm(ms: number): string {
  const p = Object.fromEntries(format('form', { year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit' }).formatToParts(ms).map((x) => [x.type, x.value]));
  return `${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}`;
}

/** "2026-03-01T22:15", a time in the site's zone as a form gives it, in ms since the epoch; NaN for nonsense. An hour that a clock change leaves out is the one after it. */
export function fromForm(text: string): number {
  const wanted = Date.parse(`${text}Z`);
  if (Number.isNaN(wanted)) return NaN;
  const parts = format('form', { year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit' });
  let at = wanted;
  for (let i = 0; i < 2; i++) {
    const p = Object.fromEntries(parts.formatToParts(at).map((x) => [x.type, x.value]));
    at += wanted - Date.parse(`${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}Z`);
  }
  return at;
}
