import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, PATHS, until } from '../expect.mjs';

const LOOKS = [
  ['light', { theme: 'light' }],
  ['dark', { theme: 'dark' }],
  ['360', { theme: 'light', width: 360, height: 780 }],
];

/** Scrolls through a page so that every canvas has been in view once. */
async function throughOnce(page) {
  const height = await page.evaluate(() => document.documentElement.scrollHeight);
  for (let y = 0; y < height; y += 500) {
    await page.evaluate((to) => scrollTo(0, to), y);
    await page.waitForTimeout(150);
  }
  await page.evaluate(() => scrollTo(0, 0));
  await page.waitForTimeout(200);
}

export default [
  {
    name: 'pictures: every page, light, dark and at 360 px, and one for the README',
    async tell({ ward, browser, later, artifacts }) {
      for (const [look, options] of LOOKS) {
        for (const [name, path] of Object.entries(PATHS)) {
          const { page, context, complaints } = await open(browser, ward + path, options);
          later(() => context.close());
          await live(page);
          await page.waitForTimeout(2500);
          await throughOnce(page);
          await page.screenshot({ path: `${artifacts}/${name}-${look}.png`, fullPage: true });
          assert.deepEqual(complaints, [], `${name} ${look}`);
          await context.close();
        }
      }
      const { page, context } = await open(browser, ward, { width: 1280, height: 860 });
      later(() => context.close());
      await live(page);
      await until('a ward on which something has happened', async () => (await page.locator('li.band[data-mark=medium], li.band[data-mark=high], li.band[data-mark=building]').count()) > 0, 60_000);
      await page.waitForTimeout(1500);
      await page.screenshot({ path: `${artifacts}/readme.png` });
    },
  },
];
