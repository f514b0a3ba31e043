// How numbers, durations and times are written. Times are 24 h in the site's
// zone, with the date where it is not today's; a number has no more digits
// than its uncertainty supports.

import { words } from './text';

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
  if (!f) formats.set(full, (f = new Intl.DateTimeFormat('en-GB', { ...options, hourCycle: 'h23', timeZone: zone })));
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

/** A difference with one decimal and its sign; that of nothing is +0.0. */
export function signed(value: number): string {
  const s = Math.abs(value).toFixed(1);
  return (value < 0 && Number(s) !== 0 ? '−' : '+') + s;
}

/** A number with the digits that its uncertainty supports: one below 1, none above. */
export function number(value: number | null | undefined, u?: number | null): string {
  if (value == null || !Number.isFinite(value)) return words.dash;
  const digits = u != null && u >= 1 ? 0 : Math.abs(value) < 10 || (u != null && u < 1) ? 1 : 0;
  const s = value.toFixed(digits);
  return (Number(s) === 0 ? s.replace('-', '') : s).replace('-', '−');
}

/** "41 ± 2 mmHg"; a dash and a word where the value is unknown. */
export function quantity(value: number | null | undefined, u: number | null | undefined, unit: string): string {
  if (value == null || !Number.isFinite(value)) return `${words.dash} ${words.unknown}`;
  const doubt = u != null && Number.isFinite(u) ? ` ± ${number(u, u)}` : '';
  return `${number(value, u)}${doubt} ${unitName(unit)}`.trim();
}

export function unitName(unit: string): string {
  if (unit === 'cm2') return 'cm²';
  return unit === '1' ? '' : unit;
}

/** "83 %", never 100 % before it is reached. */
export function percent(share: number | null | undefined): string {
  if (share == null || !Number.isFinite(share)) return words.dash;
  return `${share >= 1 ? Math.round(share * 100) : Math.min(99, Math.round(share * 100))} %`;
}

/** A sentence in which no line ends between a number and what belongs to it. */
export function unbroken(sentence: string): string {
  return sentence.replace(/ (?=±|mmHg)|(?<=\d) (?=(?:min|s|h|d|cm|ppm|k?B|MB|GB|V)\b|%)/g, '\u00a0').replace(/± /g, '±\u00a0');
}

/** What a rule is about, as words: a site, a region, or all of a mat. */
export function subjectName(id: string): string {
  return id === 'mat' ? words.wholeMat : plain(id);
}

/** An identifier as a word: "front_left" to "front left". */
export function plain(id: string): string {
  return id.replaceAll('_', ' ');
}

/** A count or a raw reading, its thousands apart: "2,048". Decimals only where it has some. */
export function count(n: number): string {
  const text = Number.isInteger(n) ? String(Math.abs(n)) : Math.abs(n).toFixed(1);
  const [whole, rest] = text.split('.');
  return `${n < 0 ? '\u2212' : ''}${whole!.replace(/\B(?=(\d{3})+$)/g, ',')}${rest ? `.${rest}` : ''}`;
}

/** "1 frame", "2,048 frames" */
export function counted(n: number, noun: string): string {
  return `${count(n)} ${noun}${n === 1 ? '' : 's'}`;
}

/** "812 B", "12 kB", "3.4 MB" */
export function size(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  if (bytes < 1e6) return `${(bytes / 1e3).toFixed(bytes < 1e4 ? 1 : 0)} kB`;
  return bytes < 1e9 ? `${(bytes / 1e6).toFixed(1)} MB` : `${(bytes / 1e9).toFixed(1)} GB`;
}

/** A small share with two digits: "0.04 %", "1.2 %". */
export function smallShare(part: number, whole: number): string {
  const share = whole > 0 ? (100 * part) / whole : 0;
  if (share === 0) return '0 %';
  if (share < 0.01) return '< 0.01 %';
  return `${share < 1 ? share.toFixed(2) : share < 10 ? share.toFixed(1) : share.toFixed(0)} %`;
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
