import assert from 'node:assert/strict';
import { startBoard } from '../board.mjs';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, overflow, plain, reads, until, violations } from '../expect.mjs';

const config = (address) => `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:
  - {id: hub, link: {tcp: {dial: "${address}"}}, format: packed, sources: [{number: 1, id: leg, channels: 3, rate: 10}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [hub/leg/0]}, {id: calf, channels: [hub/leg/1]}]}
`;

// Time passes so many times as fast as ours.
const SPEED = 3;

const words = async (page, selector) => plain(await page.locator(selector).innerText());

export default [
  {
    name: 'calibrate: a cuff goes up and down, pressures are read by themselves, and what came of it is in force',
    takes: 40,
    async tell({ binary, browser, later, artifacts }) {
      const board = await startBoard([{ number: 1, channels: 3, rate: 10 }], SPEED);
      later(() => board.stop());
      const daemon = await withConfig(binary, config(board.address), '--speed', `${SPEED}`);
      later(() => daemon.stop());
      // The third channel lies beside the cuff, the second is dead.
      const cuff = (mmHg) => {
        board.press(1, 0, 100 + 8 * mmHg);
        board.press(1, 1, 77);
        board.press(1, 2, 100);
      };
      cuff(0);
      const { page, context, complaints } = await open(browser, `${daemon.url}/calibrate`);
      later(() => context.close());
      await live(page);
      await page.getByLabel('Your code').fill('E-01');
      await page.keyboard.press('Enter');
      await page.getByLabel('Channels under the cuff').fill('0-1');
      await page.getByRole('button', { name: 'Begin to calibrate' }).press('Enter');
      await until('a gauge is asked for', async () => /Say which gauge/.test(await page.getByRole('alert').last().innerText().catch(() => '')));
      await page.getByLabel('Gauge').fill('bench gauge');
      await page.getByLabel('It errs by at most (mmHg)').fill('1');
      // Somebody who reads kPa has the same gauge.
      await page.getByText('Display', { exact: true }).press('Enter');
      const unit = page.getByLabel('Pressure in', { exact: true });
      await unit.selectOption('kPa');
      await reads(() => page.getByLabel('It errs by at most (kPa)').inputValue(), /^0\.133$/);
      await unit.selectOption('mmHg');
      await reads(() => page.getByLabel('It errs by at most (mmHg)').inputValue(), /^1$/);
      await page.keyboard.press('Escape');
      await page.getByLabel('Up to (mmHg)').fill('30');
      await page.getByLabel('Times up and down').fill('1');
      await page.getByLabel('Held for (s)').fill('5');
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/calibrate-begin.png`, fullPage: true });
      await page.keyboard.press('Enter');
      const heading = page.locator('main h2').first();
      await until('the cuff is to rest', async () => /Let the cuff down altogether/.test(await heading.innerText()));
      await until('the first is read', async () => /Go to 10 mmHg/.test(plain(await heading.innerText())), 20_000);
      let pumped = 0;
      await until('it moves', async () => (cuff((pumped += 0.5) % 10), /1 moving/.test(await words(page, '.tally'))));
      cuff(10);
      await until('the second is read', async () => /Go to 20 mmHg/.test(plain(await heading.innerText())), 20_000);
      // The gauge showed something else, and a key reads the next.
      await page.getByLabel('The gauge showed').fill('10,4');
      await page.keyboard.press('Enter');
      await until('it is corrected', async () => /Read at 10\.4 mmHg/.test(await words(page, 'main')));
      await page.getByLabel('The gauge showed').fill('1,3');
      await page.keyboard.press('Enter');
      await until('kPa are told at once', async () => /1\.3 kPa is 9\.8 mmHg/.test(await page.getByRole('alert').last().innerText().catch(() => '')));
      await page.getByLabel('The gauge showed').fill('28');
      await page.keyboard.press('Enter');
      await until('what the plan does not say is in doubt', async () => /In doubt\. 28 mmHg is said where 10 mmHg was planned/.test(await words(page, 'main')));
      await page.screenshot({ path: `${artifacts}/calibrate-steps.png`, fullPage: true });
      assert.deepEqual(await violations(page), []);
      await page.setViewportSize({ width: 360, height: 740 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/calibrate-steps-360.png`, fullPage: true });
      await page.setViewportSize({ width: 1280, height: 900 });
      await page.getByRole('button', { name: 'Read it again' }).click();
      await until('it is read anew', async () => /Go to 10 mmHg/.test(plain(await heading.innerText())));
      await page.keyboard.press(' ');
      await until('it is read once more', async () => /Go to 20 mmHg/.test(plain(await heading.innerText())), 20_000);
      for (const [mmHg, then] of [[20, /Go to 30/], [30, /Let down to 20/], [20, /Let down to 10/], [10, /Let the cuff down/]]) {
        cuff(mmHg); // the space bar is the large key, whatever was done before
        await page.keyboard.press(' ');
        await until(`${mmHg} mmHg is read`, async () => then.test(plain(await heading.innerText())), 20_000);
      }
      cuff(0);
      await until('there is a verdict', async () => /What came of it/.test(await words(page, 'main')), 20_000);
      await reads(() => words(page, 'main'), /Channel 0: accepted[\s\S]*Channel 1: refused[\s\S]*does not respond/);
      await page.getByText('Models that were tried').first().press('Enter');
      const account = page.getByText('Figures against their limits').first();
      await account.press('Enter');
      await until('it is judged by its limits', async () => /a warning above 5 % of full scale, rejected above 15 %[\s\S]*repeatability[\s\S]*not known[\s\S]*Levels/.test(await words(page, 'main')));
      await page.getByLabel('Residuals of').selectOption({ label: 'quadratic' });
      await reads(() => page.getByRole('img', { name: 'what the quadratic leaves' }).getAttribute('aria-label'), /hub\/leg\/0, .*: \d\.\d mmHg off at most/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/calibrate-outcome.png`, fullPage: true });
      await page.emulateMedia({ colorScheme: 'dark' });
      await page.screenshot({ path: `${artifacts}/calibrate-outcome-dark.png`, fullPage: true });
      await page.setViewportSize({ width: 360, height: 740 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/calibrate-outcome-360.png`, fullPage: true });
      await page.setViewportSize({ width: 1280, height: 900 });
      await page.getByRole('button', { name: 'Put the accepted one into force' }).press('Enter');
      await until('it is in force', async () => /Largest u [\d.]+ mmHg\s+in force\s+Sheet to print/.test(await words(page, 'main')));
      cuff(20);
      await until('values rest on it', async () => {
        const { signals } = await page.evaluate(() => fetch('/api/v1/places/bench-1').then((r) => r.json()));
        return Math.abs(signals['ankle.pressure'].value - 20) < 1;
      });
      await page.getByRole('button', { name: 'Done' }).press('Enter');
      await until('it is listed', async () => /hub\/leg\/0[\s\S]*Valid until/.test(await words(page, 'main')));
      await until('what was refused is kept', async () => /Did not come into force[\s\S]*hub\/leg\/1: refused[\s\S]*does not respond/.test(await words(page, 'main')), 30_000, () => words(page, 'main'));
      await page.getByText('All calibrations of this channel').first().press('Enter');
      await until('the channel has one', async () => /All calibrations of this channel\s+in force\s+accepted/.test(await words(page, 'main')));
      await page.getByText('Figures against their limits').first().press('Enter');
      await until('what is kept says for itself', async () => /a warning above 5 %[\s\S]*hysteresis[\s\S]*Levels/.test(await words(page, 'main')));
      // Later, at one known pressure, and with nothing on the sensor.
      await page.getByText('Spot checks').first().press('Enter');
      await page.getByLabel('The gauge shows').fill('20');
      await page.keyboard.press('Enter');
      await until('it holds', async () => /holds: [+-]0\.\d mmHg at 20 mmHg/.test(await words(page, 'main')));
      // A gauge that knows no better finds no fault with 28 mmHg; a good one does.
      cuff(28);
      const errs = page.locator('details[open]').getByLabel('It errs by at most (mmHg)');
      await errs.fill('30');
      await page.getByLabel('The gauge shows').fill('20');
      await page.keyboard.press('Enter');
      await until('nobody can tell', async () => /holds: \+[78]\.\d mmHg at 20 mmHg/.test(await words(page, 'main')));
      await errs.fill('');
      await page.getByLabel('The gauge shows').fill('20');
      await page.keyboard.press('Enter');
      await until('it is asked for', async () => /Say by how much the gauge may err/.test(await words(page, 'main')));
      await errs.fill('1');
      await page.getByLabel('The gauge shows').fill('20');
      await page.keyboard.press('Enter');
      await until('it does not hold', async () => /does not hold: [\s\S]*Calibrate this channel again/.test(await words(page, 'main')));
      cuff(2);
      await page.getByLabel('Channels at rest').fill('0');
      await page.keyboard.press('Enter');
      await until('it is zeroed', async () => /1 channel is zeroed[\s\S]*Taken off now: 0: \+\d\.\d mmHg/.test(await words(page, 'main')));
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/calibrate-later-dark.png`, fullPage: true });
      await page.emulateMedia({ colorScheme: 'light' });
      await page.setViewportSize({ width: 360, height: 740 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/calibrate-later-360.png`, fullPage: true });
      await page.getByRole('button', { name: 'Take the last one back' }).press('Enter');
      await until('it is taken back', async () => /Nothing is taken off/.test(await words(page, 'main')));
      const sheet = await context.newPage();
      await sheet.goto(`${daemon.url}${await page.getByRole('link', { name: 'Sheet to print' }).first().getAttribute('href')}`);
      await reads(() => sheet.locator('body').innerText(), /Calibration of hub\/leg\/0[\s\S]*bench gauge, u 0.5774/);
      assert.deepEqual(complaints, []);
    },
  },
];
