import assert from 'node:assert/strict';
import { startBoard } from '../board.mjs';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, overflow, plain, reads, show, until, violations } from '../expect.mjs';
import { startMock } from '../mock/server.mjs';
import { hospital } from '../mock/equipment.mjs';
import { place } from '../mock/ward.mjs';

const config = (address) => `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:
  - id: hub
    link: {tcp: {dial: "${address}"}}
    format: packed
    sources:
      - {number: 4, id: mat4, channels: 2048, rate: 5, calibration: {slope: 0.05, offset: 0, u: 3}}
places:
  - {id: bed-4, kind: bed, mat: {source: hub/mat4, rows: 64, columns: 32, pitch_mm: [30, 28], head: first_row}}
rules:
  - {id: loaded, at: {kind: bed}, limit: {watch: mat.pressure, above: 60}, on_delay: 30m, priority: low}
`;

const words = async (page, selector) => plain(await page.locator(selector).innerText());

/** A daemon that reads a board with one mat. */
async function equipped(binary, later) {
  const board = await startBoard([{ number: 4, channels: 2048, rate: 5 }]);
  later(() => board.stop());
  const daemon = await withConfig(binary, config(board.address));
  later(() => daemon.stop());
  return { board, url: daemon.url };
}

export default [
  {
    name: 'setup: an engineer presses a cell and is told which one it is',
    async tell({ binary, browser, later, artifacts, say }) {
      const { board, url } = await equipped(binary, later);
      const { page, context, complaints } = await open(browser, `${url}/setup/hub/mat4`);
      later(() => context.close());
      await until('nothing is pressed', async () => /Nothing is being pressed/.test(await words(page, '.pressed')));
      await page.waitForTimeout(1500);
      const began = Date.now();
      board.press(4, 1042, 1630);
      board.press(4, 1043, 700);
      await until('the cell is named', async () => /Pressed now\s+channel 1042: row 33, column 19 \(bed-4, pelvis\)\s+from 10\d to 1,630/.test(await words(page, '.pressed')), 3000);
      say(`named ${Date.now() - began} ms after it was pressed`);
      await reads(() => words(page, '.pressed'), /1 other channel changed/);
      await until('it is spoken', async () => (await words(page, '[role=status].unseen')).includes('channel 1042: row 33, column 19'), 3000);
      const ring = await page.locator('.ring').boundingBox();
      const mat = await page.locator('.mat').boundingBox();
      const at = [(ring.x + ring.width / 2 - mat.x) / mat.width, (ring.y + ring.height / 2 - mat.y) / mat.height];
      assert.ok(Math.abs(at[0] - 18.5 / 32) < 0.02 && Math.abs(at[1] - 32.5 / 64) < 0.02, `the ring is at ${at}`);
      await page.screenshot({ path: `${artifacts}/pressed.png` });
      board.release(4);
      await until('let go', async () => /Pressed last, \d+ s ago\s+channel 1042/.test(await words(page, '.pressed')), 3000);

      await page.getByLabel('Find a channel').fill('31');
      await until('a channel is found', async () => /channel 31: row 1, column 32 \(bed-4, head\): 10\d/.test(await words(page, '.found')));
      await page.getByRole('button', { name: 'Hold still' }).press('Enter');
      await reads(() => words(page, '.told'), /Held still/);
      board.press(4, 7, 2000);
      await page.waitForTimeout(800);
      await reads(() => words(page, '.pressed'), /channel 1042/);
      await page.getByRole('button', { name: 'Hold still' }).press('Enter');
      await until('it goes on', async () => /channel 7: row 1, column 8/.test(await words(page, '.pressed')), 3000);
      board.stop();
      await until('old readings are said to be old', async () => /No scan since .* is old/.test(await words(page, '.told')), 8000);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'setup: a place is set up by pressing its sensors one after another, and comes as text that is judged',
    takes: 12,
    async tell({ binary, browser, later, artifacts }) {
      const { board, url } = await equipped(binary, later);
      const { page, context, complaints } = await open(browser, `${url}/setup/hub/mat4`);
      later(() => context.close());
      await until('nothing is pressed', async () => /Nothing is being pressed/.test(await words(page, '.pressed')));
      await page.waitForTimeout(1500);
      await page.getByText('Name the sensors by pressing them').click();
      await page.getByLabel('Name of the place').fill('bench-9');
      for (const [channel, site] of [[1042, 'foot'], [77, 'ankle']]) {
        board.press(4, channel, 1630);
        const use = page.getByRole('button', { name: `Channel ${channel} is ${site}` });
        await use.waitFor();
        board.release(4);
        await use.press('Enter');
        await page.getByRole('button', { name: 'Press the next sensor' }).press('Enter'); // does nothing
      }
      const both = /- id: bench-9\s+kind: wrap\s+sites:\s+- \{id: foot, channels: \[hub\/mat4\/1042\]\}\s+- \{id: ankle, channels: \[hub\/mat4\/77\]\}/;
      await until('both are in the piece', async () => both.test(await words(page, 'figure pre')));
      await reads(() => words(page, '.judged'), /would be accepted/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/pressed-place.png`, fullPage: true });

      // As a mat: its head at the last row, and the left of who lies there at the first column.
      await page.getByLabel('Set up', { exact: true }).selectOption({ label: 'a mat of all its channels' });
      await page.getByLabel('Kind').selectOption('bed');
      await page.getByLabel('Rows and columns').selectOption({ label: '64 rows, 32 columns' });
      for (const [channel, row, column, name] of [[62 * 32 + 15, 63, 16, 'That was the head'], [40 * 32 + 1, 41, 2, 'That was the left side']]) {
        board.press(4, channel, 1630);
        await until('the cell is named', async () => (await words(page, 'main details')).includes(`Pressed: row ${row}, column ${column} of this grid.`));
        board.release(4);
        await page.getByRole('button', { name }).press('Enter');
      }
      await until('the mat is in the piece', async () => /mat: \{source: hub\/mat4, rows: 64, columns: 32, head: last_row\}/.test(await words(page, 'figure pre')));
      await reads(() => words(page, '.judged'), /would be accepted/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/pressed-mat.png`, fullPage: true });
      await page.getByLabel('Name of the place').fill('bed-4');
      await until('a name that is taken is refused', async () => /piece, line 2, column 9: .* has a place/.test(await words(page, '.judged')));
      await page.emulateMedia({ colorScheme: 'dark' });
      await page.setViewportSize({ width: 360, height: 780 });
      assert.deepEqual(await violations(page), []);
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/pressed-place-360-dark.png`, fullPage: true });
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'setup: a source that nobody configured is listed with its readings, and goes to no place',
    async tell({ binary, browser, later, artifacts }) {
      const { board, url } = await equipped(binary, later);
      const { page, context, complaints } = await open(browser, `${url}/setup`);
      later(() => context.close());
      await until('all is well', async () => /1 bridge, 1 source: nothing needs anybody now/.test(await words(page, 'main')));
      board.add({ number: 9, channels: 12, rate: 5, rest: 500 });
      await until('the stranger is listed', async () => /Source 9 sends, and the configuration does not name it/.test(await words(page, '.concerns')));
      const said = await words(page, '.stranger');
      assert.match(said, /12 channels since[\s\S]*First readings\s+50\d · 50\d · [\s\S]*…\s+Latest readings\s+50\d/);
      assert.match(said, /- \{number: 9, id: NAME, channels: 12, rate: SCANS_A_SECOND\}/);
      await page.screenshot({ path: `${artifacts}/stranger.png`, fullPage: true });
      await page.locator('.concerns a').click();
      assert.match(page.url(), /#unknown-hub-9$/);
      const places = await page.evaluate(() => fetch('/api/v1/places').then((r) => r.json()));
      assert.deepEqual(places.places.map((p) => p.id), ['bed-4']);
      await page.getByRole('link', { name: 'Round' }).click();
      await live(page);
      await page.waitForTimeout(500);
      assert.deepEqual(await page.locator('main aside').allInnerTexts(), [], 'nurses are not told of it');
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'setup: a battery that dies is said in time, and what a device says of itself is shown',
    async tell({ binary, browser, later }) {
      const { board, url } = await equipped(binary, later);
      const { page, context, complaints } = await open(browser, `${url}/setup`);
      later(() => context.close());
      await until('all is well', async () => /nothing needs anybody now/.test(await words(page, 'main')));
      board.status(4, { millivolts: 3800, percent: 60, celsius: 27, uptime: 5025, firmware: 'mat 1.2' });
      await until('its level is shown', async () => /60 %/.test(await words(page, 'table >> nth=0')));
      assert.equal(await page.locator('.concerns').count(), 0);
      board.status(4, { millivolts: 3420, percent: 9, celsius: 27, uptime: 5085, firmware: 'mat 1.2' });
      await until('it needs a look', async () => /hub\/mat4\s+Battery .*9 %/.test(await words(page, '.concerns')));
      await page.locator('.concerns a').click();
      await until('its page tells more', async () => /9 %[\s\S]*3\.42 V[\s\S]*27 °C[\s\S]*mat 1\.2/.test(await words(page, 'main')));
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'values that are extrapolated or past the date of their calibration say so beside the number',
    takes: 12,
    async tell({ browser, later, artifacts }) {
      const both = { extrapolated: true, expired: true };
      const mock = await startMock([
        place('bed-1', 'bed', { rows: 64, columns: 32, doubts: { 'mat.peak': { extrapolated: true }, 'pelvis.peak': both } }),
        place('bench-1', 'wrap', { sites: 2, doubts: { 'ankle.pressure': both, 'calf.pressure': { expired: true } } }),
      ]);
      later(() => mock.stop());
      const { page, context, complaints } = await open(browser, mock.url);
      later(() => context.close());
      for (const [id, wants] of [
        ['bench-1', [/ankle\s+\d+ ± 2 mmHg\s+extrapolated: beyond what was calibrated, past the date of its calibration/, /calf\s+\d+ ± 2 mmHg\s+past the date/]],
        ['bed-1', [/The highest is extrapolated: beyond what was calibrated\./, /pelvis\s+extrapolated: beyond what was calibrated, past the date/]],
      ]) {
        await page.goto(`${mock.url}/places/${id}`);
        // The page of a place follows the first load, and brings what is folded.
        const unfold = async () => {
          for (const closed of await page.locator('main details:not([open])').all()) await closed.locator('summary').click();
        };
        for (const look of ['light', 'dark', '360']) {
          await show(page, look);
          for (const want of wants) await until(`${id} says ${want}`, async () => (await unfold(), want.test(await words(page, 'main'))));
          assert.deepEqual(await violations(page), [], `${id} ${look}`);
          assert.equal(await overflow(page), 0, `${id} ${look}`);
          await page.screenshot({ path: `${artifacts}/doubtful-${id}-${look}.png`, fullPage: true });
          assert.deepEqual(complaints, []);
        }
      }
    },
  },
  {
    name: 'setup: every kind of trouble at once, in light, dark and on a phone',
    takes: 12,
    async tell({ browser, later, artifacts }) {
      const mock = await startMock([place('bed-1', 'bed', { rows: 64, columns: 32 }), place('bench-1', 'wrap', { sites: 2 })], { bridges: hospital() });
      later(() => mock.stop());
      const { page, context, complaints } = await open(browser, mock.url);
      later(() => context.close());
      for (const [name, path] of [['troubles', '/setup'], ['troubled', '/setup/hub/mat1']]) {
        await page.goto(mock.url + path);
        await until('the page is there', async () => /Battery|Channels/.test(await words(page, 'main')));
        for (const closed of await page.locator('main details').all()) await closed.locator('summary').click();
        await page.waitForTimeout(800);
        for (const look of ['light', 'dark', '360']) {
          await show(page, look);
          assert.deepEqual(await violations(page), [], `${name} ${look}`);
          assert.equal(await overflow(page), 0, `${name} ${look}`);
          await page.screenshot({ path: `${artifacts}/${name}-${look}.png`, fullPage: true });
          assert.deepEqual(complaints, []);
          const said = await words(page, 'main');
          if (name === 'troubles') {
            for (const want of [
              /gateway\s+no broker answers at 127\.0\.0\.1:1883.*since.*next try/s, /12 %, about 9 h left/, /2 of 2,048 cells are dead/,
              /Not calibrated: bench-1 shows no pressure/, /Source 7 sends/, /12 kept by the broker/, /with a wrong checksum/, /capture of raw bytes has stopped: no space left/i,
            ]) assert.match(said, want);
          } else {
            await page.getByRole('button', { name: 'Show it' }).last().click();
            await until('the dead cell is marked', async () => /channel 1042: row 33, column 19 \(bed-1, \w+\): /.test(await words(page, '.found')));
            await until('one is marked', async () => (await page.locator('.ring.marked').count()) === 1);
            for (const want of [/row 4, column 6/, /38 ppm fast, 3\.3 s a day/, /started again\s+2 times/i, /Gaps[\s\S]*41 \(0\.20 %\)/, /about 9 h left/, /up to 3 mmHg/]) assert.match(said, want);
          }
        }
      }
    },
  },
  {
    name: 'setup: the notes for makers are read by keyboard, and the old address still leads to the setup',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, `${ward}/bridges`);
      later(() => context.close());
      await page.getByRole('link', { name: /two formats byte by byte/ }).press('Enter');
      await until('the notes are there', async () => (await page.locator('h1').innerText()) === 'Notes for makers' && (await page.locator('pre').count()) > 5);
      assert.match(page.url(), /\/notes$/);
      await page.goBack();
      assert.match(page.url(), /\/setup$/);
      await page.goto(`${ward}/notes`);
      await until('the notes are there again', async () => /w1,3,1042,81250,512,,498\*4F/.test(await words(page, 'article').catch(() => '')));
      await page.getByRole('navigation', { name: 'On this page' }).getByRole('link', { name: /Eight channels/ }).press('Enter');
      assert.match(page.url(), /#eight-channels/);
      await context.grantPermissions(['clipboard-read', 'clipboard-write'], { origin: ward });
      await page.getByRole('button', { name: 'Copy mat.c' }).press('Enter');
      await until('it says so', async () => /Copied/.test(await words(page, 'article')));
      assert.match(await page.evaluate(() => navigator.clipboard.readText()), /^\/\/ Scans a mat row by row[\s\S]*void mat_status\([\s\S]*\}\n$/);
      await page.locator('main a[href="/setup"]').last().click();
      await until('and back', async () => (await page.locator('h1').innerText()) === 'Setup');
      assert.deepEqual(complaints, []);
    },
  },
];
