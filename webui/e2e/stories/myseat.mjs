import assert from 'node:assert/strict';
import { startBoard } from '../board.mjs';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { overflow, plain, reads, torn, until, violations } from '../expect.mjs';
import { startProxy } from '../proxy.mjs';

// A seat of two sides, 20 counts a mmHg, on which a shift is due every 36 s, where time passes
// three times as fast as ours.
const SPEED = 3;
const config = (address) => `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:
  - id: chairs
    link: {tcp: {dial: "${address}"}}
    format: packed
    sources:
      - {number: 1, id: seat, channels: 2, rate: 5, calibration: {slope: 0.05, offset: 0, u: 2}}
places:
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [chairs/seat/0]}, {id: right, channels: [chairs/seat/1]}]}
  - {id: seat-2, kind: seat, sites: [{id: whole, channels: [chairs/seat/1]}]}
rules:
  - {id: shift-due, at: {kind: seat}, relief: {interval: 36s, lasting: 6s}, priority: low}
`;

const words = async (page, selector) => plain(await page.locator(selector).innerText());

export default [
  {
    name: 'my seat: a sitter’s afternoon on a phone: told when to shift and that it counted, through a sleep, until the link is withdrawn',
    takes: 45,
    async tell({ binary, browser, later, artifacts, say }) {
      const board = await startBoard([{ number: 1, channels: 2, rate: 5, rest: 0 }], SPEED);
      later(() => board.stop());
      const daemon = await withConfig(binary, config(board.address), '--speed', `${SPEED}`);
      later(() => daemon.stop());
      const proxy = await startProxy(daemon.url);
      later(() => proxy.stop());

      // On the ward: a link is made, and is shown once.
      const ward = await open(browser, `${proxy.url}/places/seat-1`, { width: 360, height: 780, theme: 'dark' });
      later(() => ward.context.close());
      const links = ward.page.locator('section', { has: ward.page.getByRole('heading', { name: /My seat/ }) });
      await links.getByLabel('Your code').fill('N-4');
      await ward.page.keyboard.press('Enter');
      await links.getByLabel('For what').fill('afternoon');
      await links.getByRole('button', { name: 'Make a link' }).press('Enter');
      await until('it is shown', async () => /shown once/.test(plain(await links.innerText())));
      const link = (await links.locator('pre').innerText()).trim();
      assert.match(link, /\/seat\/#[A-Z2-7]{26,}$/);
      await reads(async () => plain(await links.innerText()), /no phone reaches/);
      assert.deepEqual(await violations(ward.page), []);
      assert.equal(await overflow(ward.page), 0);
      await links.screenshot({ path: `${artifacts}/my-seat-link.png` });
      await links.getByRole('button', { name: 'It is on the phone' }).press('Enter');
      assert.equal(await links.locator('pre').count(), 0);

      // On the phone: what it asks for, and nothing that knows of another seat.
      const asked = [];
      const { page, context, complaints } = await open(browser, `${proxy.url}/seat/`, { width: 360, height: 740 });
      later(() => context.close());
      page.on('request', (r) => asked.push(r));
      const is = (what) => until(what, async () => (await page.locator('main').getAttribute('data-mode')) === what && (await page.locator('main').getAttribute('data-phase')) === 'live', 30_000);
      const phase = (what, within) => until(what, async () => (await page.locator('main').getAttribute('data-phase')) === what, within);
      await until('it asks for a link', async () => /no link here/.test(await words(page, 'main')));
      await page.goto(link);
      await is('away');
      const lean = (left) => [left, 1200].forEach((counts, side) => board.press(1, side, counts));
      const began = Date.now();
      lean(1200);
      await is('later');
      await reads(() => words(page, 'main'), /Not yet\. Shift in \d+ s\.[\s\S]*without a shift\. Due at \d\d:\d\d/);
      await reads(() => words(page, 'main'), /cannot nudge you now: buzz waits until you touch this page once, sound is off/);
      await page.evaluate(() => {
        const vibrate = navigator.vibrate.bind(navigator);
        window.buzzes = [];
        navigator.vibrate = (pattern) => (window.buzzes.push(pattern), vibrate(pattern));
      });
      const buzzes = () => page.evaluate(() => window.buzzes.splice(0));
      await page.getByRole('button', { name: 'Buzz' }).click();
      assert.deepEqual(await until('it buzzes', async () => [await buzzes()].find((b) => b.length > 0)), [[90]]);
      await until('it may nudge', async () => /it will nudge you when it is time/.test(await words(page, 'main')));
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/my-seat-later.png` });
      const full = async () => new DOMMatrix(await page.locator('.bar > div').evaluate((e) => getComputedStyle(e).transform)).a;
      globalThis.DOMMatrix ??= class { constructor(s) { this.a = Number(/matrix\(([^,]+)/.exec(s)[1]); } };
      const before = await full();
      await until('the bar empties', async () => (await full()) < before - 0.1);

      await is('due');
      say(`due ${((Date.now() - began) / 1000).toFixed(0)} s after somebody sat down`);
      await until('it buzzes', async () => (await buzzes()).some((b) => b.length === 5));
      await until('it is spoken', async () => /time to shift/.test(await page.locator('[role=status]').innerText()));
      await page.emulateMedia({ colorScheme: 'dark' });
      await page.waitForTimeout(1000); // what fades has faded
      assert.deepEqual(await violations(page), []);
      assert.deepEqual(await torn(page), []);
      await page.screenshot({ path: `${artifacts}/my-seat-due-dark.png` });

      // A baseline takes half a minute of sitting (rules/relief).
      await new Promise((go) => setTimeout(go, Math.max(0, began + 33_000 / SPEED - Date.now())));
      const leaning = Date.now();
      lean(500);
      await is('easing');
      await page.screenshot({ path: `${artifacts}/my-seat-easing-dark.png` });
      await is('counts');
      say(`a shift of 6 s at three times the speed counted ${((Date.now() - leaning) / 1000).toFixed(1)} s after it began`);
      await until('it says so without a look', async () => (await buzzes()).some((b) => b.length === 1));
      await until('the bar is full', async () => (await full()) > 0.99);
      lean(1200);
      const leaned = ((Date.now() - leaning) / 1000) * SPEED;
      await is('later');
      await page.getByText('Today', { exact: true }).click();
      // Those of 15 s: this one was, only if this machine stood still meanwhile.
      const shifts = leaned < 12 ? '0' : leaned > 20 ? '1' : '[01]';
      await until('the day is told', async () => new RegExp(`Seated\\s+\\d+ (s|min)[\\s\\S]*Weight shifts\\s+${shifts}\\b`).test(await words(page, 'details:last-of-type')));
      await page.screenshot({ path: `${artifacts}/my-seat-today-dark.png`, fullPage: true });

      // The network goes; what is shown is said to be old.
      proxy.silence();
      const cut = Date.now();
      await phase('old', 6000);
      say(`old ${((Date.now() - cut) / 1000).toFixed(1)} s after the cable was cut`);
      await reads(() => words(page, 'main'), /No news since \d\d:\d\d:\d\d\.[\s\S]*What you see is old/);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/my-seat-old-dark.png` });

      // The phone sleeps meanwhile: nothing of the page runs, and nobody tells it when it wakes.
      const cdp = await context.newCDPSession(page);
      await cdp.send('Debugger.enable');
      const woke = [];
      while (woke.length < 3 && !(woke.at(-1) < 1000)) { // again where the machine was busy with something else
        proxy.silence();
        const asleep = new Promise((go) => cdp.once('Debugger.paused', go));
        await cdp.send('Debugger.pause');
        await asleep;
        await new Promise((go) => setTimeout(go, 5500));
        proxy.mend();
        const waking = Date.now();
        const told = page.waitForResponse((r) => r.url().endsWith('/my-seat') && r.ok(), { timeout: 10_000 });
        await cdp.send('Debugger.resume');
        await told;
        await phase('live', 10_000);
        woke.push(Date.now() - waking);
      }
      say(`the present ${woke.join(' and ')} ms after waking`);
      assert.ok(Math.min(...woke) < 1000, 'it takes longer than a second after waking');
      await until('it says what it missed', async () => /this page was in the background and could not nudge/.test(await words(page, 'main')));

      // Withdrawn, it shows nothing any more, at once.
      await links.getByRole('button', { name: /Withdraw/ }).press('Enter');
      await phase('gone', 3000);
      await reads(() => words(page, 'main'), /This link no longer works/);
      assert.doesNotMatch(await words(page, 'main'), /seat-1/);
      await page.reload();
      await phase('gone', 5000);
      await until('the ward sees it', async () => /1 link was withdrawn/.test(plain(await links.innerText())));

      const key = link.split('#')[1];
      const paths = new Set(asked.map((r) => new URL(r.url()).pathname));
      for (const path of paths) assert.match(path, /^\/(seat\/|assets\/|seat[.-]|api\/v1\/my-seat(\/day)?$)/);
      for (const r of asked) {
        assert.ok(!new URL(r.url()).pathname.includes(key) && !new URL(r.url()).search.includes(key), 'the key is in an address that is asked for');
        assert.ok(!r.headers().referer, 'a page is told where it was opened from');
      }
      assert.deepEqual(complaints, []);
      assert.deepEqual(ward.complaints, []);
    },
  },
];
