import assert from 'node:assert/strict';
import { copyFileSync } from 'node:fs';
import { open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, look, plain, reads, until } from '../expect.mjs';

const WINDOW = { width: 1280, height: 1000 };

/**
 * A picture of a page down to the end of an element: in light, which the README shows, and in
 * dark, to be looked at. A run of the tests leaves the checkout as it was.
 */
async function picture(page, name, last, { artifacts, shots }) {
  const end = await last.evaluate((e) => e.getBoundingClientRect().bottom + scrollY);
  const clip = { x: 0, y: 0, width: WINDOW.width, height: Math.ceil(end) + 16 };
  await page.screenshot({ path: `${artifacts}/readme-${name}.png`, fullPage: true, clip });
  if (shots) copyFileSync(`${artifacts}/readme-${name}.png`, `${shots}/${name}.png`);
  await page.emulateMedia({ colorScheme: 'dark' });
  await page.screenshot({ path: `${artifacts}/readme-${name}-dark.png`, fullPage: true, clip });
}

export default [
  {
    name: 'picture: the round of a ward in which time runs fast, and a rehearsal of it, for the README',
    shows: true,
    async tell({ binary, browser, later, ...to }) {
      const ward = await demo(binary, '--speed', '60');
      later(() => ward.stop());
      await new Promise((done) => setTimeout(done, 25_000)); // which are half an hour there
      const { page, context, complaints } = await open(browser, ward.url, WINDOW);
      later(() => context.close());
      const main = async () => plain(await page.locator('main').innerText());
      await live(page);
      await reads(() => main(), /time runs 60 times faster/);
      await until('ribbons have a story', async () => (await look(page, 'li.band canvas')).colours > 4);
      await picture(page, 'round', page.locator('li.band').nth(4), to);

      await page.emulateMedia({ colorScheme: 'light' });
      await page.goto(`${ward.url}/rehearse`);
      await live(page);
      await page.getByLabel('Place').selectOption('bench-1');
      await page.getByLabel('Stretch').selectOption('3600');
      await page.getByRole('button', { name: 'Show the field' }).press('Enter');
      const limit = page.getByRole('slider', { name: 'Limit' });
      await until('the present rule is shown', async () => /0 come, 0 go, 0 move/.test(await main()));
      // Lower, until alerts come that the present rule does not raise.
      for (let i = 0; i < 40 && !/[1-9]\d* come/.test(await main()); i++) {
        await limit.press('ArrowLeft');
        await page.waitForTimeout(150);
      }
      await until('something comes', async () => /[1-9]\d* come/.test(await main()));
      await picture(page, 'rehearse', page.getByRole('button', { name: 'Judge every reading' }), to);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'picture: a wrap that holds still, for the README',
    takes: 100,
    async tell({ ward, began, browser, later, ...to }) {
      await until('a minute and more was kept', () => Date.now() - began > 80_000, 90_000);
      const { page, context, complaints } = await open(browser, `${ward}/places/bench-2`, WINDOW);
      later(() => context.close());
      await live(page);
      await page.locator('[aria-labelledby="lanes-title"] canvas').scrollIntoViewIfNeeded();
      await until('it is drawn', async () => (await look(page, '[aria-labelledby="lanes-title"] canvas')).colours >= 3);
      // Then what is drawn, what is said and what is traced are the same.
      let still = 0;
      await until('the leg is still, and both sites have readings', async () => {
        const pressures = (text) => [...plain(text).matchAll(/(\d+) ± \d+ mmHg/g)].map((m) => Number(m[1]));
        const drawn = pressures((await page.locator('.limb .value').allTextContents()).join(' '));
        const said = pressures(await page.locator('.words').innerText());
        still = drawn.length === 2 && drawn.every((d) => said.some((s) => Math.abs(d - s) <= 1)) ? still + 1 : 0;
        return still > 20;
      }, 60_000);
      await picture(page, 'wrap', page.locator('[aria-labelledby="lanes-title"]'), to);
      assert.deepEqual(complaints, []);
    },
  },
];
