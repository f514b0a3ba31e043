// The words of setting up a place by pressing on its sensors.

export const pressing = {
  title: 'Set up a place by pressing',
  begin: 'Name the sensors by pressing them …',
  how: 'Press one sensor, firmly, for a second. When the page names its channel, say what it is, and press the next.',
  place: 'Name of the place',
  kind: 'Kind',
  kinds: { wrap: 'wrap', bed: 'bed', seat: 'seat' },
  site: 'The pressed sensor is',
  use: (channel: number, site: string) => `Channel ${channel} is ${site}`,
  press: 'Press a sensor',
  next: 'Press the next sensor',
  sites: 'Sensors that have a name',
  is: (site: string, channels: readonly number[]) => `${site}: ${channels.length === 1 ? 'channel' : 'channels'} ${channels.join(', ')}`,
  remove: (site: string) => `Take away ${site}`,
  already: (channel: number, site: string) => `Channel ${channel} is ${site} already; it would move.`,
  piece: (place: string) => `place ${place}`,
  where: 'For the configuration file, under places:',
  noAnswer: 'The daemon does not answer.',
  notDone: (status: number) => `The daemon refused it (${status}).`,
} as const;
