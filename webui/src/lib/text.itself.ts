// The words about the daemon itself, on the Setup page.

import { catalogue } from './language';

export const itself = {
  title: 'Weald itself',
  version: (v: string) => `This is weald ${v}.`,
  well: 'The daemon finds nothing wrong with itself.',
  wrong: (n: number) => (n === 1 ? 'The daemon has found something wrong with itself.' : `The daemon has found ${n} things wrong with itself.`),
  failed: 'The daemon does not say how it is.',
  list: 'What the daemon watches of itself',
  names: {
    silence: 'Nothing arrives',
    loop: 'The judging stands still',
    disk: 'Room on the disk',
    clock_step: 'The clock was set',
    clock_error: 'The clock may be wrong',
    behind: 'Readings wait',
    memory: 'Memory free',
    certificate: 'The certificate lasts',
    heartbeat: 'Heartbeats not taken',
    log: 'Readings wait in the log',
  } as Record<string, string>,
  units: { s: 's', GB: 'GB', '%': '%', d: 'd', beats: 'missing' },
  unknown: 'not known',
  off: 'not watched here',
  above: (limit: string) => `an alert above ${limit}`,
  below: (limit: string) => `an alert below ${limit}`,
  lasting: (t: string) => `for ${t}`,
  against: (now: string, limit: string, lasting: string) => `${now}; ${limit}${lasting ? ` ${lasting}` : ''}`,
  heartbeat: 'Who is told that it lives',
  noHeartbeat: 'Nobody outside: the configuration has no heartbeat. A daemon that has died can raise no alert; somebody who waits for its heartbeat would notice.',
  beats: (every: string, taken: string) => `A beat every ${every}; ${taken}.`,
  held: (why: string, taken: string) => `Held back, as the daemon does not do its work; ${taken}: ${why}`,
  failing: (why: string, taken: string) => `Not taken, and tried with the next; ${taken}: ${why}`,
  taken: (t: string) => `the last was taken ${t}`,
  untaken: 'none was taken yet',
};

catalogue('text.itself', { itself });
