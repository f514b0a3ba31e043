import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, plain, until } from '../expect.mjs';

/** Keeps every sentence that the live regions are given from now on. */
function listen(page) {
  return page.evaluate(() => {
    window.heard = [];
    for (const region of document.querySelectorAll('[role=alert], [role=status]')) {
      new MutationObserver(() => window.heard.push(region.textContent)).observe(region, { childList: true, characterData: true, subtree: true });
    }
  });
}

export default [
  {
    name: 'alerts: one comes within a minute of the start, is shown everywhere and is spoken once',
    async tell({ ward, began, browser, later, say }) {
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      await live(page);
      await listen(page);
      const raised = await until(
        'an alert',
        () => page.evaluate(() => fetch('/api/v1/alerts').then((r) => r.json()).then((b) => b.alerts[0])),
        60_000,
      );
      assert.ok(Date.now() - began < 60_000, 'more than a minute after the start');
      say(`first alert ${((Date.now() - began) / 1000).toFixed(0)} s after the start: ${raised.place}: ${raised.text}`);
      const band = page.locator('li.band', { has: page.getByRole('link', { name: raised.place, exact: true }) });
      await until('its band says so', async () => (await band.getAttribute('data-mark')) === raised.priority, 3000);
      assert.match(await band.innerText(), new RegExp(`alert, ${raised.priority} priority`));
      const spoken = () => page.evaluate((text) => window.heard.filter((h) => h.includes(text)).length, raised.text);
      await until('it is spoken', spoken, 8000);
      await page.getByRole('link', { name: 'Alerts' }).click();
      await until('it is listed', async () => plain(await page.locator('main').innerText()).includes(raised.text));
      await page.getByRole('link', { name: 'Setup' }).click();
      await until('it is said on other pages', async () => plain((await page.locator('aside').allInnerTexts()).join()).includes(raised.text));
      await page.waitForTimeout(4000);
      assert.equal(await spoken(), 1);
      assert.match(await page.title(), /^\(\d+\) /);
      assert.deepEqual(complaints, []);
    },
  },
];
