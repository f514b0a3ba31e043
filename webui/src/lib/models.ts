// Published curves of how much pressure is tolerated for how long, for the figure of
// the handbook alone: what rules judge by is in the daemon.

/** mmHg that are tolerated for so many hours. */
type Curve = (hours: number) => number;

/** Reswick and Rogers 1976, as fitted by Linares, Mawson, Suarez, J Basic Appl Sci 2012;8:720-728, table 1. */
export const PEOPLE: Curve = (t) => 650 * Math.exp(-1.1469 * t) + 457 * Math.exp(-0.4905 * t) + 77 * Math.exp(-0.1117 * t);

/** Linder-Ganz, Engelberg, Scheinowitz, Gefen, J Biomech 2006;39(14):2725-2732: K 23 kPa, C 8 kPa, 0.15/min, 95 min. */
export const RATS: Curve = (t) => (23 / (1 + Math.exp(0.15 * (60 * t - 95))) + 8) * 7.50062;

/** Points of a curve, from the first hour's quarter to 12 h. */
export const tolerated = (curve: Curve): [hours: number, mmHg: number][] => Array.from({ length: 189 }, (_, i) => 0.25 + i / 16).map((h) => [h, curve(h)]);
