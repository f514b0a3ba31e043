import assert from 'node:assert/strict';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { open } from '../browser.mjs';
import { plugIn, withConfig } from '../daemon.mjs';
import { live, overflow, plain, reads, until, violations } from '../expect.mjs';

// Time passes four times as fast as ours. The mats send 2 scans a second of it, the one that
// fails 4: neither is far from what is configured.
const SPEED = 4;
const bridge = (port, n) => `
  - id: hub-${n}
    link: {serial: {port: ${port}, baud: 115200}}
    format: packed
    sources: [{number: ${n}, id: mat${n}, channels: 2048, rate: 2.7, stale_after: 8s, calibration: {slope: 0.05, offset: 0, u: 3}}]`;

const config = (ports) => `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:${bridge(ports[4], 4)}${bridge(ports[5], 5)}
places:
  - {id: bed-4, kind: bed, mat: {source: hub-4/mat4, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}
  - {id: bed-5, kind: bed, mat: {source: hub-5/mat5, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}
rules:
  - {id: pelvis-loaded, at: {kind: bed}, limit: {watch: pelvis.pressure, above: 60}, on_delay: 30m, priority: medium}
  - {id: cells-fail, at: {kind: bed}, quality: {of: [missing]}, on_delay: 2s, off_delay: 3s, priority: low}
  - {id: frames-lost, at: {kind: bed}, quality: {of: [loss]}, off_delay: 3s, priority: low}
  - {id: mat-silent, at: {kind: bed}, quality: {of: [silent]}, on_delay: 2s, off_delay: 3s, priority: medium}
`;

/** One cell of the mat was read under a cuff, 200 days ago. */
async function calibrate(api) {
  const rows = [1, 2, 3].flatMap((cycle) => ['up', 'down'].flatMap((direction) => [0, 20, 40, 60, 80, 100].map((p, i) => ({ cycle, direction, reference_mmhg: p, raw: 20 * p + ((i + cycle) % 3) + (direction === 'up' ? 0 : 4) }))));
  const made = await api('calibrations', { bridge: 'hub-4', source: 'mat4', channel: 700, at: new Date(Date.now() - 200 * 86_400_000).toISOString(), by: 'E-01', reference: 'bench gauge', rows });
  assert.equal(made.calibration?.in_force, true, JSON.stringify(made));
}

const words = async (page, selector = 'main') => plain(await page.locator(selector).innerText());

/** Waits until Setup has nothing to say. */
async function isWell(page) {
  let said = '';
  await until('all is well', async () => /2 bridges, 2 sources: nothing needs anybody now/.test((said = await words(page))), 30_000).catch((e) => {
    throw new Error(`${e.message}; Setup says: ${said}`);
  });
}

export default [
  {
    name: 'engineer: a morning with a dying mat: rows go, then frames, then all; it is said before a nurse could see it, a spare takes its place, and the record has it all',
    takes: 40,
    async tell({ binary, browser, later, artifacts, say }) {
      const dir = mkdtempSync(join(tmpdir(), 'weald-e2e-'));
      later(() => rmSync(dir, { recursive: true, force: true }));
      const ports = { 4: join(dir, 'hub-4'), 5: join(dir, 'hub-5') };
      const daemon = await withConfig(binary, config(ports), '--speed', `${SPEED}`);
      later(() => daemon.stop());
      const board = async (scenario, n, ...more) => {
        const it = await plugIn(binary, scenario, ports[n], '--source', `${n}`, '--speed', `${SPEED}`, ...more);
        later(() => it.unplug());
        return it;
      };
      await board('bed', 5);
      const good = await board('bed', 4);
      const api = (path, body) => fetch(`${daemon.url}/api/v1/${path}`, body && { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) }).then((r) => r.json());
      const alert = async (rule) => (await api('alerts')).alerts.find((a) => a.rule === rule && a.place === 'bed-4' && a.raised_at && !a.cleared_at);
      const now = async () => Date.parse((await api('places/bed-5')).at);
      let began = 0;
      const after = async () => `${(((await now()) - began) / 1000).toFixed(0)} s`;

      await calibrate(api);

      const ward = await open(browser, daemon.url); // the screen of the ward
      later(() => ward.context.close());
      const { page, context, complaints } = await open(browser, `${daemon.url}/setup`); // the engineer's
      later(() => context.close());
      const band = ward.page.locator('li.band', { has: ward.page.getByRole('link', { name: 'bed-4', exact: true }) });
      await isWell(page);
      await page.screenshot({ path: `${artifacts}/engineer-1-well.png`, fullPage: true });

      // Somebody pulled at its cable. Two rows come loose; the bed is measured on, so that nobody at it could tell.
      await good.unplug();
      const failing = await board('bed-failing', 4);
      began = await now();
      const cells = await until('an alert says that cells fail', () => alert('cells-fail'), 30_000);
      say(`${await after()}: ${plain(cells.text)}`);
      assert.match(plain(cells.text), /64 of 2048 cells/);
      await until('the round has it', async () => (await band.getAttribute('data-mark')) === 'low');
      await reads(async () => plain(await band.innerText()), /low priority/);
      assert.equal((await api('places/bed-4')).state, 'alert');
      assert.ok((await api('places/bed-4')).signals['pelvis.peak'].value > 20, 'the bed is measured on');
      await ward.page.screenshot({ path: `${artifacts}/engineer-2-round.png`, fullPage: true });

      // Then frames are lost.
      const lost = await until('an alert says that frames are lost', () => alert('frames-lost'), 40_000);
      say(`${await after()}: ${plain(lost.text)}`);
      await until('Setup counts them', async () => /[1-9]\d* \(\d/.test(await words(page, 'table[aria-label*="hub-4"]')));

      // Setup names the rows, half a minute after the last reading of theirs.
      await until('the rows are named', async () => /hub-4\/mat4\s+64 of 2,048 cells are silent/.test(await words(page, '.concerns')), 60_000);
      say(`${await after()}: Setup: ${(await words(page, '.concerns')).replace(/\s+/g, ' ')}`);
      assert.doesNotMatch(await words(page, '.concerns'), /mat5/);
      await page.screenshot({ path: `${artifacts}/engineer-3-setup.png`, fullPage: true });
      await page.locator('.concerns a').first().press('Enter');
      await until('its page tells more', async () => /64 of 2,048 cells are silent[\s\S]*The cell in row 21, column 1 has delivered no reading for/.test(await words(page)));
      await page.getByRole('button', { name: 'Show it' }).first().press('Enter');
      await until('the cell is found on the mat', async () => /row 21, column 1 \(bed-4, \w+\)/.test(await words(page, '.found')));
      await reads(() => words(page), /Gaps[\s\S]*\(\d+.*%\)/);
      await reads(() => words(page), /Kept calibrations\s+of 1 of 2,048 channels\s+The oldest was made\s+.*, 200 d 0 h ago\s+Their dates hold until\s/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/engineer-4-source.png`, fullPage: true });

      // In the end nothing comes: the bed is not called well, and the engineer is told why.
      await failing.unplug();
      const silent = await until('an alert says that nothing comes', () => alert('mat-silent'), 60_000);
      say(`${await after()}: ${plain(silent.text)}`);
      await until('the round does not know', async () => (await api('places/bed-4')).signals['pelvis.peak'].value === null);
      await until('the round says that it matters', async () => ['medium', 'high'].includes(await band.getAttribute('data-mark')));
      await page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name: /^Setup/ }).press('Enter');
      await until('Setup says what the port does', async () => /hub-4\s[\s\S]*next try/.test(await words(page, '.concerns')));
      say(`${await after()}: Setup: ${(await words(page, '.concerns li >> nth=0')).replace(/\s+/g, ' ')}`);
      await page.setViewportSize({ width: 360, height: 780 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/engineer-5-gone-360.png`, fullPage: true });
      await page.setViewportSize({ width: 1280, height: 900 });
      await ward.page.screenshot({ path: `${artifacts}/engineer-5-gone-round.png`, fullPage: true });
      const gone = new Date(silent.raised_at);

      // A spare is plugged in where the old one was.
      await board('bed', 4, '--seed', '2');
      await isWell(page);
      await until('and so are the alerts of equipment', async () => !(await alert('mat-silent')) && !(await alert('cells-fail')), 30_000);
      say(`${await after()}: a spare, and all is well`);
      await page.screenshot({ path: `${artifacts}/engineer-6-spare.png`, fullPage: true });

      // The record went on for the other bed, and has the hole of this one.
      const query = `signals?name=pelvis.peak&points=2000&from=${new Date(began + 5000).toISOString()}&to=${new Date((await now()) - 2000).toISOString()}`;
      const known = async (place) => {
        const [s] = (await api(`places/${place}/${query}`)).series;
        return s.t.map((t, i) => [Date.parse(t), s.mean[i] !== null]);
      };
      const [four, five] = [await known('bed-4'), await known('bed-5')];
      const hole = four.filter(([t, there]) => !there && t > gone.getTime() - 3000).map(([t]) => t);
      assert.ok(hole.length > 0, 'bed-4 has a hole');
      assert.ok(four.at(-1)[1] && four.some(([t, there]) => there && t < hole[0]), 'before and after it bed-4 was measured');
      const through = five.filter(([t]) => t >= hole[0] && t <= hole.at(-1));
      assert.ok(through.filter(([, there]) => there).length > 0.7 * through.length, 'bed-5 was measured through it');
      const { changes } = await api('alerts/changes?newest=100');
      const happened = (rule, what) => changes.some((c) => c.rule === rule && c.place === 'bed-4' && c.what === what);
      for (const [rule, what] of [['cells-fail', 'raised'], ['frames-lost', 'raised'], ['mat-silent', 'raised'], ['mat-silent', 'cleared']]) assert.ok(happened(rule, what), `${rule} was ${what}`);
      assert.deepEqual(complaints, []);
      assert.deepEqual(ward.complaints, []);
    },
  },
];
