// Which stretch of the past is looked at, and which is to be read for that. All
// instants and durations are in ms.

export interface Stretch {
  readonly from: number;
  readonly to: number;
}

/** A stretch that was asked for, at so many ms for a point. */
export interface Asked extends Stretch {
  readonly step: number;
}

/** The record is by the second at its finest: less than a minute shows no more. */
export const SHORTEST = 60_000;
export const LONGEST = 31 * 86_400_000;

const length = (s: Stretch) => s.to - s.from;

/** The stretch moved by so much; it ends at `latest` at the latest. */
export function moved(s: Stretch, by: number, latest: number): Stretch {
  const to = Math.min(latest, s.to + by);
  return { from: to - length(s), to };
}

/** The stretch made `factor` times as long; `at` stays where it is in the picture, unless that would end after `latest`. */
export function scaled(s: Stretch, factor: number, at: number, latest: number): Stretch {
  const long = Math.min(LONGEST, Math.max(SHORTEST, length(s) * factor));
  const from = at - ((at - s.from) / length(s)) * long;
  return moved({ from, to: from + long }, 0, latest);
}

/** What to read for a picture so many pixels wide: as much again on either side, so that one can move at once. */
export function around(s: Stretch, width: number, latest: number): Asked {
  return { from: s.from - length(s), to: Math.min(latest, s.to + length(s)), step: length(s) / width };
}

/** Whether what was asked for before does: it reaches as far, as there is something, and is not too coarse. */
export function serves(asked: Asked, s: Stretch, width: number, latest: number): boolean {
  return asked.from <= s.from && asked.to >= Math.min(s.to, latest) && asked.step <= (1.5 * length(s)) / width;
}
