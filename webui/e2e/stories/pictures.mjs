import assert from 'node:assert/strict';
import { copyFileSync } from 'node:fs';
import { open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, look, until } from '../expect.mjs';

export default [
  {
    name: 'picture: the round of a ward in which time runs fast, for the README',
    takes: 25,
    async tell({ binary, browser, later, artifacts, shots }) {
      const ward = await demo(binary, '--speed', '60');
      later(() => ward.stop());
      const { page, context, complaints } = await open(browser, ward.url, { width: 1280, height: 1000 });
      later(() => context.close());
      await live(page);
      await page.waitForTimeout(27_000);
      assert.match(await page.locator('main').innerText(), /time runs 60 times faster/);
      await until('ribbons have a story', async () => (await look(page, 'li.band canvas')).colours > 4);
      await page.screenshot({ path: `${artifacts}/readme.png` });
      // A run of the tests leaves the checkout as it was.
      if (shots) copyFileSync(`${artifacts}/readme.png`, `${shots}/round.png`);
      assert.deepEqual(complaints, []);
    },
  },
];
