import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { open } from '../browser.mjs';
import { live, look, overflow, plain, until, violations } from '../expect.mjs';

const words = async (page, selector) => plain(await page.locator(selector).innerText());
const section = (page, title) => page.locator('section', { has: page.getByRole('heading', { name: title, exact: true }) });

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
    name: 'records: marks and sessions are set from the page of a place, and are on the Records page',
    async tell({ ward, browser, later }) {
      const { page, context, complaints } = await open(browser, `${ward}/places/bed-3`);
      later(() => context.close());
      await live(page);
      const here = section(page, 'Session and marks');
      await here.getByRole('button', { name: 'turned' }).press('Enter');
      await until('it is marked', async () => /Marked: turned, at \d\d:\d\d:\d\d/.test(await here.innerText()));
      await here.getByLabel('Something else').fill('heels checked');
      await page.keyboard.press('Enter');
      await until('the other one too', async () => /heels checked/.test(await here.locator('table').innerText()));
      await here.locator('summary').press('Enter');
      await here.getByLabel('Code').fill('K-32');
      await page.keyboard.press('Enter');
      await until('the session lasts', async () => /Session of K-32 began at/.test(await here.innerText()));
      await here.getByRole('button', { name: 'End the session' }).press('Enter');
      await until('the session has ended', async () => /No session\./.test(await here.innerText()));
      await here.getByRole('link', { name: 'Records' }).press('Enter');
      const marks = section(page, 'Marks');
      await marks.getByLabel('Place').selectOption('bed-3');
      await until('both are there', async () => /heels checked[\s\S]*turned/.test(await marks.locator('table').innerText().catch(() => '')));
      assert.match(await words(page, 'main'), /What is kept[\s\S]*Readings[\s\S]*since[\s\S]*Sessions[\s\S]*since/);
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
      assert.deepEqual(await violations(page), []);
      for (const [name, width] of [['records-export', 1280], ['records-export-360', 360]]) {
        await page.setViewportSize({ width, height: 800 });
        assert.equal(await overflow(page), 0, `${width} px`);
        await page.screenshot({ path: `${artifacts}/${name}.png`, fullPage: true });
      }
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
    name: 'records: reports of a session, of everybody in a seat and of a night open from their links, and print on A4',
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
      await page.goto(`${ward}/places/bed-2`);
      const night = section(page, 'Session and marks').getByRole('link', { name: 'Report of the last night' });
      reports.night = [await follow(night), /Night in bed-2[\s\S]*In bed[\s\S]*turn-due/];
      // By day the last night was over before this record began.
      const [from, to] = [-3600e3, 0].map((ms) => new Date(Date.now() + ms).toISOString());
      await reports.night[0].goto(`${ward}${await night.getAttribute('href')}?${new URLSearchParams({ from, to })}`);
      for (const [name, [report, says]] of Object.entries(reports)) {
        assert.match(await words(report, 'body'), says);
        assert.match(await words(report, 'body'), /not a medical device[\s\S]*Local policy/);
        assert.deepEqual(await violations(report), [], name);
        await report.screenshot({ path: `${artifacts}/report-${name}.png`, fullPage: true });
        const pdf = (await report.pdf({ preferCSSPageSize: true, path: `${artifacts}/report-${name}.pdf` })).toString('latin1');
        const [, width, height] = /\/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf) ?? [];
        assert.ok(Math.abs(width - 595.28) < 1 && Math.abs(height - 841.89) < 1, `${name}: a page is ${width} by ${height} points, A4 is 595 by 842`);
        await report.setViewportSize({ width: 360, height: 740 });
        assert.equal(await overflow(report), 0, name);
      }
      assert.deepEqual(complaints, []);
    },
  },
];
