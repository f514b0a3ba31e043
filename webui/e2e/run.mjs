// Stories told to the real program through a real browser.
//
//   WEALD_BIN   the program, default ../bin/weald
//   WEALD_SHOTS=1  renew the README's pictures in e2e/shots; stories that do only that are
//                  not told without it
//   node e2e/run.mjs [words]   only the stories whose names hold one of the words; then
//                              there are pictures to be looked at, in e2e/artifacts
//   --beside, --alone          only those that bear company, or only those that are
//                              measured against a clock and want the machine to themselves
//   --long                     only those that take minutes, which are told by hand
//   WEALD_LATE=MS  every answer to a page comes up to so much later, to find stories that
//                  read too early; what is measured against a clock fails then by right

import { existsSync, mkdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { answerLate, launch, takePictures } from './browser.mjs';
import { demo } from './daemon.mjs';
import access from './stories/access.mjs';
import accounts from './stories/accounts.mjs';
import alerts from './stories/alerts.mjs';
import bench from './stories/bench.mjs';
import calibrate from './stories/calibrate.mjs';
import configuration from './stories/configuration.mjs';
import connection from './stories/connection.mjs';
import engineer from './stories/engineer.mjs';
import equipment from './stories/equipment.mjs';
import figures from './stories/figures.mjs';
import hostile from './stories/hostile.mjs';
import myseat from './stories/myseat.mjs';
import nurse from './stories/nurse.mjs';
import pages from './stories/pages.mjs';
import paint from './stories/paint.mjs';
import past from './stories/past.mjs';
import pictures from './stories/pictures.mjs';
import records from './stories/records.mjs';
import regions from './stories/regions.mjs';
import rehearse from './stories/rehearse.mjs';
import senders from './stories/senders.mjs';
import setup from './stories/setup.mjs';
import soak from './stories/soak.mjs';

const at = (path) => fileURLToPath(new URL(path, import.meta.url));

const binary = process.env.WEALD_BIN ?? at('../../bin/weald');
if (!existsSync(binary)) {
  console.error(`no program at ${binary}: build it first, or set WEALD_BIN`);
  process.exit(2);
}
if (!existsSync(at('../dist/index.html'))) {
  console.error('the pages are not built: npm run build, and then the program');
  process.exit(2);
}
const shots = process.env.WEALD_SHOTS ? at('./shots') : null;
const artifacts = at('./artifacts');
mkdirSync(artifacts, { recursive: true });
if (shots) mkdirSync(shots, { recursive: true });

const wanted = process.argv.slice(2).filter((w) => !w.startsWith('--'));
const asked = (kind) => process.argv.includes(`--${kind}`);
const only = (kind) => !process.argv.some((w) => w.startsWith('--')) || asked(kind);
const chosen = (s) => wanted.length === 0 || wanted.some((w) => s.name.includes(w));
const told = [access, accounts, alerts, bench, calibrate, configuration, connection, engineer, equipment, figures, hostile, myseat, nurse, pages, paint, past, pictures, records, regions, rehearse, senders, setup, soak].flat().filter(chosen).filter((s) => shots || !s.shows);
// What takes longest (`takes`, about so many s) comes first, and the nurse's shift before all, as it says when the first alert comes.
const company = only('beside') ? told.filter((s) => !s.alone && !s.long).sort((a, b) => (b.takes ?? 0) - (a.takes ?? 0)) : [];
const alone = told.filter((s) => (s.alone && only('alone')) || (s.long && asked('long')));
const count = company.length + alone.length;

answerLate(Number(process.env.WEALD_LATE ?? 0));
takePictures(wanted.length > 0 || shots !== null);
const browser = await launch();
const began = Date.now();
const ward = company.length > 0 ? await demo(binary) : null;
let failed = 0;

/** Tells one story and says how it went; what it said on the way stands above that. */
async function tell(story) {
  const from = Date.now();
  const opened = [];
  const said = [];
  const say = (line) => said.push(`    ${line}`);
  try {
    await story.tell({ ward: ward?.url, began, browser, binary, artifacts, shots, say, later: (stop) => opened.push(stop) });
    said.push(`ok   ${story.name} (${((Date.now() - from) / 1000).toFixed(1)} s)`);
  } catch (e) {
    failed++;
    said.push(`FAIL ${story.name}\n${String(e.stack ?? e).replace(/^/gm, '     ')}`);
  }
  for (const stop of opened.reverse()) await stop();
  console.log(said.join('\n'));
}

// Most of a story is waiting, so some are told beside each other.
const LANES = 5;
async function lane() {
  for (let story; (story = company.shift()); ) await tell(story);
}
await Promise.all(Array.from({ length: LANES }, lane));
await ward?.stop();
// What is measured by the accounts of a browser of its own bears company like itself.
await Promise.all(alone.filter((s) => s.alone === 'accounts').map(tell));
for (const story of alone) if (story.alone !== 'accounts') await tell(story);
await browser.close();
console.log(`${count - failed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
