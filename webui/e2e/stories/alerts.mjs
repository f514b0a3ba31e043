import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, overflow, plain, until, violations } from '../expect.mjs';

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
  {
    name: 'alerts: somebody says who they are once, acknowledges by keyboard, shelves with a reason, and takes it back',
    async tell({ ward, browser, later, artifacts }) {
      const list = (state) => fetch(`${ward}/api/v1/alerts?state=${state}`).then((r) => r.json()).then((b) => b.alerts);
      const { page, context, complaints } = await open(browser, `${ward}/alerts`);
      later(() => context.close());
      await live(page);
      const first = (await until('an alert that nobody has', async () => ((await list('unacknowledged,latched')).length ? await list('unacknowledged,latched') : null), 90_000))[0];
      const itemOf = (a) => page.locator('li[data-state]', { hasText: a.rule }).filter({ has: page.getByRole('link', { name: a.place, exact: true }) });
      const raised = itemOf(first).first();
      await raised.getByRole('button', { name: /^Acknowledge/ }).focus();
      await page.keyboard.press('Enter');
      const code = raised.getByLabel('Your code');
      assert.ok(await code.evaluate((e) => e === document.activeElement), 'the code is asked for where one is');
      await page.keyboard.type('Pat Larch');
      await page.keyboard.press('Enter');
      assert.match(await raised.innerText(), /A code is one to four letters/);
      await code.fill('k-07');
      await page.keyboard.press('Enter');
      await until('K-07 has it', async () => (await list('acknowledged')).some((a) => a.id === first.id && a.by === 'K-07'));
      await until('the page says so', async () => /K-07 has it since/.test(await page.locator('main').innerText()));
      await until('the focus is somewhere', () => page.evaluate(() => document.activeElement !== document.body), 3000);
      await page.screenshot({ path: `${artifacts}/alerts-acknowledged.png`, fullPage: true });

      // What was acknowledged may be over by now, and then there is nothing left to shelve.
      const next = await until('another alert that nobody has', async () => (await list('unacknowledged,latched,returned-unacknowledged')).find((a) => a.id !== first.id), 90_000);
      const other = itemOf(next).first();
      await other.getByRole('button', { name: /^Shelve/ }).first().click();
      await page.keyboard.press('Enter');
      assert.match(await page.locator('main').innerText(), /Say why/);
      await page.getByLabel('Why').fill('care at the bedside');
      await page.getByLabel('For how long').selectOption('60');
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/alerts-shelving.png`, fullPage: true });
      await page.getByRole('button', { name: 'Shelve it' }).click();
      await until('it is on the shelf', async () => /shelved, by K-07, until .*“care at the bedside”/.test(plain(await page.locator('main').innerText())));
      await page.getByRole('link', { name: 'Round' }).click();
      await until('the round says so', async () => /1 alert shelved/.test(plain(await page.locator('main').innerText())));
      await page.getByRole('link', { name: 'Alerts' }).click();
      await other.getByRole('button', { name: /^Take off the shelf/ }).click();
      await until('it is off the shelf', async () => (await list('shelved')).every((a) => a.id !== next.id));
      await page.getByRole('button', { name: 'Show what happened' }).click();
      await until('the history says who', async () => /acknowledged by K-07/.test(await page.locator('main').innerText()));
      await page.getByRole('button', { name: 'Show the figures' }).click();
      await until('the figures are there', async () => /Time to acknowledge, median/.test(await page.locator('main').innerText()));
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/alerts-figures.png`, fullPage: true });
      await page.setViewportSize({ width: 360, height: 780 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/alerts-figures-360.png`, fullPage: true });
      await page.reload();
      await live(page);
      assert.match(await page.locator('main').innerText(), /You are K-07/, 'the browser keeps the code');
      assert.deepEqual(complaints, []);
    },
  },
];
