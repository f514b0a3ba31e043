import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, overflow, plain, until, violations } from '../expect.mjs';

export default [
  {
    name: 'alerts: sound that is turned on gives a burst, and can be paused for two minutes',
    async tell({ ward, browser, later, say }) {
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      await page.evaluate(() => {
        window.tones = [];
        const { start } = OscillatorNode.prototype;
        OscillatorNode.prototype.start = function (at) {
          window.tones.push(this.frequency.value);
          return start.call(this, at);
        };
      });
      await live(page);
      await page.getByLabel('Sound of alerts').selectOption('on');
      const pause = page.getByRole('button', { name: 'Pause sound for 2 min' });
      await until('somebody is called', () => pause.count(), 90_000);
      const tones = await until('a burst', () => page.evaluate(() => (window.tones.length ? window.tones : null)), 8000);
      say(`${tones.length} tones from ${Math.min(...tones)} to ${Math.max(...tones)} Hz`);
      assert.ok(tones.length % 5 === 0 && tones.length >= 10);
      await pause.click();
      await until('it is paused', async () => /Sound paused for (120|11\d) s|Sound paused for 2 min/.test(plain(await page.locator('header').innerText())));
      assert.equal(await overflow(page), 0);
      await page.setViewportSize({ width: 320, height: 700 });
      assert.equal(await overflow(page), 0);
      assert.deepEqual(await violations(page), []);
      assert.deepEqual(complaints, []);
    },
  },
];
