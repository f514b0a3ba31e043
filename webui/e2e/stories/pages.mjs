import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { PATHS, live, look, reads, until } from '../expect.mjs';

export default [
  {
    name: 'pages: the caution is shown whole at the first visit, and short on every page',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, ward, { read: false });
      later(() => context.close());
      const dialog = page.locator('dialog[open]');
      await dialog.waitFor();
      await reads(() => dialog.innerText(), /not a medical device[\s\S]*arterial[\s\S]*responsible clinician/);
      await page.keyboard.press('Enter'); // the button has the focus
      await dialog.waitFor({ state: 'hidden' });
      await page.reload();
      await live(page);
      assert.equal(await page.locator('dialog[open]').count(), 0);
      for (const path of Object.values(PATHS)) {
        await page.goto(ward + path);
        await reads(() => page.locator('footer').innerText(), /not a medical device/);
      }
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'pages: the round shows every place with live numbers within ten seconds',
    async tell({ ward, browser, later }) {
      const began = Date.now();
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      await live(page);
      await until('ten bands', async () => (await page.locator('main li.band').count()) >= 10);
      const texts = () => page.locator('li.band .sentence').allInnerTexts();
      await until('numbers in mmHg', async () => (await texts()).filter((t) => /\d+.*\smmHg/.test(t)).length >= 6);
      assert.ok(Date.now() - began < 10_000, 'it took longer than ten seconds');
      const before = (await texts()).join();
      await until('the sentences change', async () => (await texts()).join() !== before);
      await until('ribbons are drawn', async () => (await look(page, 'li.band canvas')).colours > 1);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'pages: a bed has a living map, and P switches its shade',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, ward + PATHS.bed);
      later(() => context.close());
      await until('the map has shades', async () => (await look(page, '.map canvas')).colours > 8);
      await until('the sentence says what is highest', async () => /Highest now \d+.*\smmHg, /.test(await page.locator('.sentence.told').innerText()));
      await reads(() => page.locator('figure').innerText(), /loaded since last relief/);
      await page.keyboard.press('p');
      await until('the legend is about pressure', async () => /mmHg/.test(await page.locator('figcaption').innerText()));
      await until('pressure is shown', async () => (await page.locator('button[aria-pressed="true"]', { hasText: 'Pressure' }).count()) === 1);
      const first = await look(page, '.map canvas');
      await until('the map changes by itself', async () => (await look(page, '.map canvas')).sum !== first.sum);
      await page.getByLabel('Outline regions').check();
      await page.getByLabel('Raw cells').uncheck();
      await until('blending is said to be blending', async () => /nobody measured/.test(await page.locator('.switches').innerText()));
      await page.keyboard.press('p');
      await until('the words for the map follow', async () => /shaded by loaded since last relief.*Highest now/.test(await page.locator('.map').getAttribute('aria-label')));
      const rows = page.locator('details tbody tr');
      await until('figures by region', async () => (await rows.count()) >= 4);
      // The interface is asked again and again, since a page is a moment behind.
      await until('the table has the means that rules judge', async () => {
        const { signals } = await page.evaluate(() => fetch('/api/v1/places/bed-2').then((r) => r.json()));
        const shown = await rows.evaluateAll((list) => list.map((tr) => [...tr.children].map((c) => c.textContent)));
        return shown.every(([region, , mean]) => Math.abs(Number(mean) - signals[`${region.replaceAll(' ', '_')}.mean`].value) <= 0.6);
      });
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'pages: a wrap has a profile that follows the readings, and traces that move',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, ward + PATHS.wrap);
      later(() => context.close());
      const values = () => page.locator('.limb .value').allTextContents();
      await until('both sites have figures', async () => (await values()).filter((t) => /\d.* mmHg/.test(t)).length === 2);
      const transforms = () => page.$$eval('g.site', (list) => list.map((g) => g.getAttribute('transform')).join());
      const first = await transforms();
      await until('the marks move', async () => (await transforms()) !== first);
      // What is out of sight is not drawn, and above the traces stand the alerts of the place.
      await page.locator('[aria-labelledby="lanes-title"] canvas').scrollIntoViewIfNeeded();
      const trace = await look(page, '[aria-labelledby="lanes-title"] canvas');
      assert.ok(trace.colours >= 3, `the lanes show ${trace.colours} colours`);
      await until('the traces move', async () => (await look(page, '[aria-labelledby="lanes-title"] canvas')).sum !== trace.sum);
      await reads(() => page.locator('.words .sentence').innerText(), /Pressure (falls|does not fall)/);
      await page.getByRole('button', { name: '10 min' }).click();
      await until('the record fills ten minutes', async () => (await look(page, '[aria-labelledby="lanes-title"] canvas')).colours >= 3);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'pages: rows stay where they are until somebody asks for another order',
    async tell({ ward, browser, later }) {
      const { page, context } = await open(browser, ward);
      later(() => context.close());
      await live(page);
      const order = () => page.locator('li.band h2').allInnerTexts();
      const byPlace = await order();
      assert.deepEqual(byPlace, [...byPlace].sort((a, b) => a.localeCompare(b, 'en', { numeric: true })));
      await page.getByRole('button', { name: 'by urgency' }).click();
      const urgent = await order();
      for (let i = 0; i < 10; i++) {
        await page.waitForTimeout(500);
        assert.deepEqual(await order(), urgent);
      }
      await until('alerts come first, or it is said that the order has changed', async () => {
        const marks = await page.$$eval('li.band', (list) => list.map((li) => ['high', 'medium', 'low'].indexOf(li.dataset.mark)));
        return marks.every((m) => m < 0) || marks[0] >= 0 || page.getByRole('button', { name: 'Sort again' }).isVisible();
      }, 5000);
      await page.getByRole('button', { name: 'by place' }).click();
      assert.deepEqual(await order(), byPlace);
    },
  },
  {
    name: 'pages: links, back and forward, and an address that is none',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      await live(page);
      // Whoever is next is named above the bands as well.
      await page.locator('li.band').getByRole('link', { name: 'bed-4' }).click();
      await until('the focus is on the heading', () => page.evaluate(() => document.activeElement?.textContent === 'bed-4'));
      assert.match(page.url(), /\/places\/bed-4$/);
      await page.getByRole('link', { name: 'bed-5 ›' }).click();
      await until('the next bed', async () => (await page.locator('h1').innerText()) === 'bed-5');
      await page.goBack();
      await page.goBack();
      await until('the round again', async () => (await page.locator('h1').innerText()) === 'Round');
      // Opened by its address, the page knows of no other bed; and on the way from one to the next only of those.
      await page.goto(`${ward}/places/bed-2`);
      await page.getByRole('link', { name: 'bed-3 ›' }).click();
      await until('the bed after it', async () => (await page.locator('h1').innerText()) === 'bed-3');
      await page.getByRole('link', { name: 'bed-4 ›' }).waitFor();
      await page.goto(`${ward}/places/nowhere`);
      await until('says that there is no such place', async () => /no place called nowhere/.test(await page.locator('main').innerText()));
      await page.goto(`${ward}/nowhere`);
      await reads(() => page.locator('main').innerText(), /There is no such page/);
      await live(page);
      const links = page.getByRole('navigation', { name: 'Pages' }).getByRole('link');
      await reads(async () => (await links.allInnerTexts()).map((t) => t.replace(/[\s\d]+$/, '')).join(), /^Round,Alerts,Records,Bench,Rehearse,Calibrate,Setup,Handbook$/);
      await until('the number of open alerts', async () => {
        // By their states: another story may put one aside meanwhile, which stands and is not open.
        const states = ['unacknowledged', 'latched', 'acknowledged'];
        const open = await page.evaluate((open) => fetch('/api/v1/alerts').then((r) => r.json()).then((b) => b.alerts.filter((a) => open.includes(a.state)).length), states);
        return ((await page.locator('nav a[href="/alerts"] .count').allInnerTexts())[0] ?? '').trim() === (open ? `${open}` : '');
      });
      assert.deepEqual(complaints, []);
    },
  },
];
