import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { isA4, live, overflow, plain, reads, section, until, violations } from '../expect.mjs';

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
    name: 'nurse: a shift: who needs me next, an alert within a minute that is spoken once, taken by code, a turn that is marked, one put aside and taken back, and the night’s report for the handover',
    takes: 100,
    async tell({ ward, began, browser, later, artifacts, say }) {
      const list = (state = '') => fetch(`${ward}/api/v1/alerts?state=${state}`).then((r) => r.json()).then((b) => b.alerts);
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      const main = async () => plain(await page.locator('main').innerText());
      const goTo = (name) => page.getByRole('navigation', { name: 'Pages' }).getByRole('link', { name }).press('Enter');
      const picture = (name) => page.screenshot({ path: `${artifacts}/nurse-${name}.png`, fullPage: true });
      await live(page);
      await listen(page);

      // Who needs me next: the place whose limit is reached first comes first.
      await page.getByRole('button', { name: 'by urgency' }).press('Enter');
      await until('somebody is due', async () => /in \d+/.test(plain(await page.locator('li.band .due').first().innerText())));
      const named = page.locator('.top .sentence a');
      await until('and is named first of all', async () => /Next due: \S+, in \d+/.test(plain(await page.locator('.top .sentence').innerText())));
      const due = await fetch(`${ward}/api/v1/places/${await named.innerText()}`).then((r) => r.json()).then((p) => p.holds.filter((h) => h.due_at));
      assert.ok(due.length > 0, 'something is due there');
      await picture('1-who-is-next');

      // An alert comes, within a minute of the start.
      const first = await until('an alert', async () => (await list('unacknowledged,latched'))[0], 60_000);
      assert.ok(Date.now() - began < 60_000, 'more than a minute after the start');
      say(`first alert ${((Date.now() - began) / 1000).toFixed(0)} s after the start: ${first.place}: ${first.text}`);
      const band = page.locator('li.band', { has: page.getByRole('link', { name: first.place, exact: true }) });
      await until('its band says so', async () => (await band.getAttribute('data-mark')) === first.priority, 3000);
      await reads(() => band.innerText(), new RegExp(`alert, ${first.priority} priority`));
      const spoken = () => page.evaluate((text) => window.heard.filter((h) => h.includes(text)).length, first.text);
      await until('it is spoken', spoken, 8000);
      await until('who is called to comes first', async () => {
        const again = page.getByRole('button', { name: 'Sort again' });
        if (await again.isVisible()) await again.press('Enter', { timeout: 1000 }).catch(() => undefined);
        const marks = await page.$$eval('li.band', (list) => list.map((li) => ['high', 'medium', 'low'].indexOf(li.dataset.mark)));
        return marks[0] >= 0 && marks.every((m) => m < 0 || m >= marks[0]);
      }, 5000);
      await picture('2-called');
      await goTo('Setup');
      await until('it is said on other pages', async () => plain((await page.locator('aside').allInnerTexts()).join()).includes(first.text));
      await goTo('Alerts');
      await until('it is listed', async () => (await main()).includes(first.text));

      assert.equal(await spoken(), 1);

      // Somebody takes it, by code, and by keyboard alone.
      const itemOf = (a) => page.locator('li[data-state]', { hasText: a.rule }).filter({ has: page.getByRole('link', { name: a.place, exact: true }) });
      const raised = itemOf(first).first();
      await raised.getByRole('button', { name: /^Acknowledge/ }).focus();
      await page.keyboard.press('Enter');
      const code = raised.getByLabel('Your code');
      await until('the code is asked for where one is', () => code.evaluate((e) => e === document.activeElement));
      await page.keyboard.type('Pat Larch');
      await page.keyboard.press('Enter');
      await reads(() => raised.innerText(), /A code is one to four letters/);
      await code.fill('k-07');
      await page.keyboard.press('Enter');
      await until('K-07 has it', async () => (await list('acknowledged')).some((a) => a.id === first.id && a.by === 'K-07'));
      await until('the page says so', async () => /K-07 has it since/.test(await main()));
      await until('the focus is somewhere', () => page.evaluate(() => document.activeElement !== document.body), 3000);
      assert.match(await page.title(), /^\(\d+\) /);
      await picture('3-taken');

      // A bed is loaded for too long: it is turned, and marked.
      const turned = (await until('a bed needs somebody', async () => (await list('unacknowledged')).find((a) => a.place.startsWith('bed-')), 90_000)).place;
      await goTo('Round');
      await page.getByRole('link', { name: turned, exact: true }).press('Enter');
      await until('the bed is there', async () => (await page.locator('h1').innerText()) === turned);
      const here = section(page, 'Session and marks');
      // On a phone the page is long: one key leads down, and the next one is in the section.
      await page.getByRole('link', { name: 'Session and marks' }).press('Enter');
      await until('the focus is on the heading', () => page.evaluate(() => document.activeElement?.textContent === 'Session and marks'), 3000);
      await page.keyboard.press('Tab');
      await until('what comes next by keyboard is there too', () => here.locator('summary').evaluate((e) => e === document.activeElement));
      await page.keyboard.press('Enter');
      await here.getByLabel('Code').fill('K-32');
      await page.keyboard.press('Enter');
      await until('the session lasts', async () => /Session of K-32 began at/.test(await here.innerText()));
      await here.getByRole('button', { name: 'turned' }).press('Enter');
      await until('it is marked', async () => /Marked: turned, at \d\d:\d\d:\d\d/.test(await here.innerText()));
      await here.getByLabel('Something else').fill('heels checked');
      await page.keyboard.press('Enter');
      await until('the other one too', async () => /heels checked/.test(await here.locator('table').innerText()));
      await picture('4-turned');

      // What was acknowledged may be over by now, and then there is nothing left to put aside.
      await goTo('Alerts');
      const next = await until('another alert that nobody has', async () => (await list('unacknowledged,latched,returned-unacknowledged')).find((a) => a.id !== first.id), 90_000);
      const other = itemOf(next).first();
      await other.getByRole('button', { name: /^Shelve/ }).first().click();
      await page.keyboard.press('Enter');
      await reads(() => main(), /Say why/);
      await page.getByLabel('Why').fill('care at the bedside');
      await page.getByLabel('For how long').selectOption('60');
      assert.deepEqual(await violations(page), []);
      await picture('5-shelving');
      await page.getByRole('button', { name: 'Shelve it' }).click();
      await until('it is shelved', async () => /shelved, by K-07, until .*“care at the bedside”/.test(await main()));
      await goTo('Round');
      await until('the round says so', async () => /1 alert shelved/.test(await main()));
      await goTo('Alerts');
      await other.getByRole('button', { name: /^Unshelve/ }).click();
      await until('it is shelved no longer', async () => (await list('shelved')).every((a) => a.id !== next.id));

      // Handover: what happened, how the alerts fared, and the night on paper.
      await page.getByRole('button', { name: 'Show what happened' }).click();
      await until('the history says who', async () => /acknowledged by K-07/.test(await main()));
      await page.getByRole('button', { name: 'Show the figures' }).click();
      await until('the figures are there', async () => /Time to acknowledge, median/.test(await main()));
      assert.deepEqual(await violations(page), []);
      await picture('6-handover');
      await page.setViewportSize({ width: 360, height: 780 });
      assert.equal(await overflow(page), 0);
      await picture('6-handover-360');
      await page.reload();
      await live(page);
      await until('the browser keeps the code', async () => /You are K-07/.test(await main()));
      await page.setViewportSize({ width: 1280, height: 900 });
      await page.goto(`${ward}/places/${turned}`);
      await here.getByRole('button', { name: 'End the session' }).press('Enter');
      await until('the session has ended', async () => /No session\./.test(await here.innerText()));
      const [report] = await Promise.all([context.waitForEvent('page'), here.getByRole('link', { name: 'Report of the last night' }).press('Enter')]);
      await report.waitForLoadState();
      const told = plain(await report.locator('body').innerText());
      for (const what of [new RegExp(`Night in ${turned}`), /K-32/, /In bed/, /pelvis-loaded/, /turned/, /heels checked/, /not a medical device[\s\S]*Local policy/]) assert.match(told, what);
      assert.deepEqual(await violations(report), []);
      await report.screenshot({ path: `${artifacts}/report-night.png`, fullPage: true });
      isA4(await report.pdf({ preferCSSPageSize: true, path: `${artifacts}/report-night.pdf` }), 'night');
      await report.setViewportSize({ width: 360, height: 740 });
      assert.equal(await overflow(report), 0);
      await goTo('Records');
      const nights = section(page, 'Nights');
      await nights.getByLabel('Place').selectOption(turned);
      const night = await fetch(ward + (await nights.getByRole('link').getAttribute('href')));
      assert.equal(night.status, 200);
      assert.match(await night.text(), new RegExp(`Night in ${turned}`));
      const marks = section(page, 'Marks');
      await marks.getByLabel('Place').selectOption(turned);
      await until('both marks are there', async () => /heels checked[\s\S]*turned/.test(await marks.locator('table').innerText().catch(() => '')));
      await reads(() => main(), /What is kept[\s\S]*Readings[\s\S]*since[\s\S]*Sessions[\s\S]*since/);
      assert.deepEqual(complaints, []);
    },
  },
];
