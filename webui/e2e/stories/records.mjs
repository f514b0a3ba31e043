import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { open } from '../browser.mjs';
import { isA4, live, look, overflow, plain, reads, section, throughWindows, until, violations } from '../expect.mjs';

const words = async (page, selector) => plain(await page.locator(selector).innerText());

export default [
  {
    name: 'records: a session is begun by code and ended, and a name is refused and not repeated',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, `${ward}/records`);
      later(() => context.close());
      await live(page);
      await page.getByLabel('Your code').fill('N-4');
      await page.keyboard.press('Enter');
      await until('it is signed', async () => /signed N-4/.test(await words(page, 'main')));
      const all = section(page, 'Sessions');
      await all.getByLabel('Place').selectOption('bench-2');
      await all.getByLabel('Code').fill('Pat Larch');
      await all.getByRole('button', { name: 'Begin a session' }).press('Enter');
      await until('the name is refused', async () => /This looks like a name, and names are not kept/.test(await all.getByRole('alert').innerText().catch(() => '')));
      assert.doesNotMatch(await all.innerText(), /Larch/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/records-refused.png`, fullPage: true });
      await all.getByLabel('Code').fill('K-31');
      await all.getByLabel('Notes').fill('second fitting');
      await page.keyboard.press('Enter');
      const row = all.locator('li', { hasText: 'K-31' });
      await until('it is in the list', async () => /K-31[\s\S]*bench-2[\s\S]*lasts[\s\S]*rules \d+[\s\S]*second fitting/.test(await row.innerText().catch(() => '')));
      await row.getByRole('button', { name: 'Add a note' }).press('Enter');
      await page.keyboard.type('stood up twice');
      await page.keyboard.press('Enter');
      await until('the note is there', async () => /stood up twice[\s\S]*by N-4/.test(await row.innerText()));
      await row.getByRole('button', { name: /End the session/ }).press('Enter');
      await until('it has ended', async () => !/lasts/.test(await row.innerText()));
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'records: an export is made, fetched, and read; a span that runs backwards is refused',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, `${ward}/records`);
      later(() => context.close());
      await live(page);
      const it = section(page, 'Export');
      await it.getByLabel('Place').selectOption('bench-1');
      await it.getByLabel('How much').selectOption('own');
      await it.getByLabel('From').fill('2026-03-02T10:00');
      await it.getByLabel('To').fill('2026-03-01T10:00');
      await it.getByRole('button', { name: 'Make the files' }).press('Enter');
      await until('it is refused', async () => /the later one last/.test(await it.innerText()));
      await it.getByLabel('How much').selectOption('0');
      await it.getByRole('button', { name: 'Make the files' }).press('Enter');
      await until('it is ready', async () => /bench-1, CSV, the beginning to the end[\s\S]*ready/.test(await it.innerText()), 20_000);
      const [file] = await Promise.all([page.waitForEvent('download'), it.getByRole('link', { name: /per-s\.csv/ }).first().click()]);
      const head = readFileSync(await file.path(), 'utf8').split('\r\n')[0];
      assert.match(head, /ankle\.pressure \(mmHg\)/);
      await throughWindows(page, `${artifacts}/records-export`);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'records: traces of longer ago are drawn on the page of a place, and read by keyboard',
    async tell({ ward, began, browser, later, artifacts }) {
      await until('there is a past', () => Date.now() - began > 22_000, 25_000);
      const { page, context, complaints } = await open(browser, `${ward}/places/bench-1`);
      later(() => context.close());
      await live(page);
      const it = section(page, 'Longer ago');
      const picture = it.getByRole('slider');
      await picture.scrollIntoViewIfNeeded();
      await it.getByRole('button', { name: '1 h', exact: true }).press('Enter');
      await until('something is drawn', async () => (await look(page, '[role=slider] canvas')).colours > 3);
      await picture.focus();
      await page.keyboard.press('ArrowLeft');
      await until('the figures are told', async () => /ankle \d+/.test(plain(await picture.getAttribute('aria-valuetext'))));
      for (const span of ['24 h', '31 d']) {
        await it.getByRole('button', { name: span }).press('Enter');
        await until(`${span} is read`, async () => (await it.locator('p[role=alert]').count()) === 0 && !/Reading/.test(await it.innerText()));
      }
      await it.getByRole('button', { name: /Earlier/ }).press('Enter');
      await until('it can go back', async () => (await it.getByRole('button', { name: 'Newest' }).isEnabled()) && !/Reading/.test(await it.innerText()));
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/past.png`, fullPage: true });
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'records: reports of a session and of everybody in a seat open from their links, and print on A4',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, `${ward}/records`);
      later(() => context.close());
      await live(page);
      await page.getByLabel('Your code').fill('N-6');
      await page.keyboard.press('Enter');
      const all = section(page, 'Sessions');
      await all.getByLabel('Place').selectOption('seat-2');
      await all.getByLabel('Code').fill('K-36');
      await all.getByLabel('Notes').fill('<script>alert(1)</script>');
      await page.keyboard.press('Enter');
      const row = all.locator('li', { hasText: 'K-36' });
      await row.waitFor();
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/records-reports.png`, fullPage: true });
      await page.setViewportSize({ width: 360, height: 740 });
      assert.equal(await overflow(page), 0);
      await page.screenshot({ path: `${artifacts}/records-reports-360.png`, fullPage: true });
      const follow = async (link) => {
        const [report] = await Promise.all([context.waitForEvent('page'), link.press('Enter')]);
        await report.waitForLoadState();
        return report;
      };
      const reports = {
        session: [await follow(row.getByRole('link', { name: 'Report of the session of K-36' })), /Session of K-36 at seat-2[\s\S]*Sitting[\s\S]*Pressure[\s\S]*<script>alert\(1\)<\/script>/],
        trial: [await follow(all.getByRole('link', { name: 'Everybody in a seat' })), /Trial summary[\s\S]*Participant K-36[\s\S]*Sonenblum/],
      };
      for (const [name, [report, says]] of Object.entries(reports)) {
        await reads(() => words(report, 'body'), says);
        await reads(() => words(report, 'body'), /not a medical device[\s\S]*Local policy/);
        assert.deepEqual(await violations(report), [], name);
        await report.screenshot({ path: `${artifacts}/report-${name}.png`, fullPage: true });
        isA4(await report.pdf({ preferCSSPageSize: true, path: `${artifacts}/report-${name}.pdf` }), name);
        // Between the margins of A4 there are 182 mm, at 96 px an inch; on paper nothing can be scrolled.
        await report.emulateMedia({ media: 'print' });
        await report.setViewportSize({ width: 688, height: 900 });
        assert.deepEqual(await report.evaluate(() => [...document.querySelectorAll('.scroll')].filter((e) => e.scrollWidth > e.clientWidth).map((e) => e.getAttribute('aria-label'))), [], `${name}: tables that are cut`);
        await report.emulateMedia({ media: 'screen' });
        await report.setViewportSize({ width: 360, height: 740 });
        assert.equal(await overflow(report), 0, name);
      }
      assert.deepEqual(complaints, []);
    },
  },
];
