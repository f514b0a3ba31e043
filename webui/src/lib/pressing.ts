// A place that is set up by pressing its sensors, one after another.

import { post } from './link/post';
import type { PlaceKind } from './link/types';
import type { Piece } from './piece';
import { pressing as text } from './text.pressing';

export interface PressedSite {
  id: string;
  channels: number[];
}

/** The sites with a channel given to the site of a name: a new one where none is called so. A channel belongs to one site only. */
export function give(sites: readonly PressedSite[], name: string, channel: number): PressedSite[] {
  const rest = sites.map((s) => ({ ...s, channels: s.channels.filter((c) => c !== channel) }));
  const at = rest.findIndex((s) => s.id === name);
  if (at < 0) rest.push({ id: name, channels: [channel] });
  else rest[at]!.channels.push(channel);
  return rest.filter((s) => s.channels.length > 0);
}

/** Names in the order in which a limb is gone up, and those of other places. */
export const SITES: Record<PlaceKind, readonly string[]> = {
  wrap: ['foot', 'ankle', 'gaiter', 'calf', 'knee', 'thigh'],
  bed: ['head', 'shoulder_left', 'shoulder_right', 'sacrum', 'hip_left', 'hip_right', 'heel_left', 'heel_right'],
  seat: ['ischial_left', 'ischial_right', 'sacrum', 'thigh_left', 'thigh_right'],
};

/** The first name that no site has yet, empty where all are taken. */
export function nextName(kind: PlaceKind, sites: readonly PressedSite[]): string {
  return SITES[kind].find((n) => sites.every((s) => s.id !== n)) ?? '';
}

/** Asks how the place stands in the configuration, and what would be wrong with it. */
export function judge(id: string, kind: PlaceKind, source: string, sites: readonly PressedSite[]): Promise<Piece> {
  return post<Piece>('/api/v1/setup/place', { id, kind, sites: sites.map((s) => ({ id: s.id, channels: s.channels.map((c) => `${source}/${c}`) })) }, text);
}
