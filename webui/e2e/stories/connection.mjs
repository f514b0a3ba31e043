import assert from 'node:assert/strict';
import { WebSocket } from 'ws';
import { open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, PATHS, until } from '../expect.mjs';
import { startProxy } from '../proxy.mjs';

const bar = (page) => page.locator('.bar.old');

/** Share of the pixel columns of the first lane, of the last `seconds` of a minute, that have no trace. */
function openShare(page, from, to) {
  return page.evaluate(
    ([a, b]) => {
      const canvas = document.querySelector('[aria-labelledby="lanes-title"] canvas');
      const { width, height } = canvas;
      const lane = Math.floor(height / document.querySelectorAll('[aria-labelledby="lanes-title"] .names > div').length);
      const data = canvas.getContext('2d').getImageData(0, 0, width, lane).data;
      const styles = getComputedStyle(document.documentElement);
      const probe = new OffscreenCanvas(1, 1).getContext('2d');
      const words = ['--ink', '--soft'].map((name) => {
        probe.fillStyle = styles.getPropertyValue(name);
        probe.fillRect(0, 0, 1, 1);
        return [...probe.getImageData(0, 0, 1, 1).data.slice(0, 3)].join();
      });
      const column = (ms) => Math.round(width - (ms / 60_000) * width);
      let open = 0;
      const [x0, x1] = [Math.max(0, column(a)), Math.min(width, column(b))];
      for (let x = x0; x < x1; x++) {
        let drawn = false;
        for (let y = 0; y < lane && !drawn; y++) {
          const i = 4 * (y * width + x);
          drawn = words.includes([...data.slice(i, i + 3)].join());
        }
        if (!drawn) open++;
      }
      return open / (x1 - x0);
    },
    [from, to],
  );
}

/**
 * In the page, before anything of it: keeps of when the newest was that came of each kind of
 * frame, and, once begun, how old that was at the oldest while the page called itself current, in
 * s; which views of places came when; and when the page called itself current. Instants are in ms.
 */
function listenForAges() {
  const newest = new Map();
  const Plain = WebSocket;
  window.WebSocket = class extends Plain {
    constructor(...args) {
      super(...args);
      newest.clear();
      this.addEventListener('message', ({ data }) => {
        if (typeof data !== 'string') {
          const view = new DataView(data);
          newest.set(['', 'readings', 'map', 'loaded times'][view.getUint8(0)], view.getFloat64(8, true));
          return;
        }
        const e = JSON.parse(data);
        if (e.now) newest.set('word of the daemon', Date.parse(e.now));
        for (const p of e.places ?? (e.place ? [e.place] : [])) window.ages?.views.push({ id: p.id, at: p.at, came: Date.now() });
      });
    }
  };
  window.ages = {
    begin() {
      Object.assign(this, { oldest: {}, views: [], current: [], looked: 0 });
      let ran = []; // a page that is held up by its machine could not have said anything in the meantime
      this.timer = setInterval(() => {
        ran = [...ran.slice(-6), performance.now()];
        if (ran.length < 7 || ran[6] - ran[0] > 450) return;
        this.looked++;
        if (document.querySelector('.clock').dataset.phase !== 'live') return;
        this.current.push(Date.now());
        for (const [what, t] of newest) this.oldest[what] = Math.max(this.oldest[what] ?? 0, (Date.now() - t) / 1000);
      }, 50);
    },
    async after(ms) {
      await new Promise((go) => setTimeout(go, ms));
      clearInterval(this.timer);
      return { oldest: this.oldest, views: this.views, current: this.current, share: this.current.length / this.looked };
    },
    views: [],
  };
}

/** Follows all places over a link of its own, on which nothing has to wait; gives back when each view came. */
async function follow(url) {
  const told = [];
  const socket = new WebSocket(`${url.replace('http', 'ws')}/live`, 'weald.live.v1');
  await new Promise((open, fail) => socket.on('open', open).on('error', fail));
  socket.on('message', (data, binary) => {
    const e = !binary && JSON.parse(data);
    if (e?.event === 'place') told.push({ id: e.place.id, at: e.place.at, came: Date.now() });
  });
  socket.send('{"subscribe":{"places":"all","signals":[],"maps":[]}}');
  return { told, stop: () => socket.terminate() };
}

/** For how long a view was shown as current at the most that had been followed by another, in s. */
function overtaken(told, { views, current }, ids) {
  let most = 0;
  for (const newer of told.filter((v) => ids.includes(v.id) && v.came >= current[0])) {
    const [next] = views.filter((v) => v.id === newer.id && v.at >= newer.at);
    const last = current.filter((t) => t < (next?.came ?? Infinity)).at(-1) ?? 0;
    most = Math.max(most, (last - newer.came) / 1000);
  }
  return most;
}

export default [
  {
    name: 'connection: a silence of 30 s is said within three seconds, heals by itself, and its hole is filled, or is not claimed to be',
    alone: true,
    async tell({ ward, browser, later, say, artifacts }) {
      const proxy = await startProxy(ward);
      later(() => proxy.stop());
      // Of two pages, one cannot read the record afterwards.
      const [whole, hollow] = await Promise.all([0, 1].map(async () => {
        const { page, context } = await open(browser, proxy.url + PATHS.wrap);
        later(() => context.close());
        await live(page);
        // What is out of sight is not drawn.
        await page.locator('[aria-labelledby="lanes-title"] canvas').scrollIntoViewIfNeeded();
        return page;
      }));
      await hollow.waitForTimeout(3000);
      await hollow.route('**/signals?**', (route) => route.abort());
      const began = Date.now();
      proxy.silence();
      const took = await Promise.all([whole, hollow].map(async (page) => {
        await bar(page).waitFor({ timeout: 8000 });
        return Date.now() - began;
      }));
      say(`said to be old after ${took.map((t) => `${(t / 1000).toFixed(2)} s`).join(' and ')}`);
      assert.ok(Math.max(...took) <= 3000, `it took ${took} ms`);
      assert.match(await bar(whole).innerText(), /No news since \d\d:\d\d:\d\d/);
      assert.equal(await whole.locator('main.old').count(), 1);
      await whole.screenshot({ path: `${artifacts}/old.png` });
      await whole.waitForTimeout(began + 30_000 - Date.now());
      proxy.mend();
      const mended = Date.now();
      await Promise.all([whole, hollow].map((page) => bar(page).waitFor({ state: 'detached', timeout: 15_000 })));
      const back = Date.now();
      say(`live again ${((back - mended) / 1000).toFixed(1)} s after the cable was mended`);
      await Promise.all([
        until('the hole is said to be filled', async () => /has been filled in/.test(await whole.locator('.bar').innerText())),
        until('it says that it could not', async () => /could not be filled/.test(await hollow.locator('.bar').innerText())),
      ]);
      await whole.waitForTimeout(2500);
      const share = await openShare(whole, Date.now() - began - 1000, Date.now() - back + 1000);
      const left = await openShare(hollow, Date.now() - began - 3500, Date.now() - back + 1000);
      say(`${Math.round(share * 100)} % of the hole is still open, and ${Math.round(left * 100)} % where the record cannot be read`);
      assert.ok(share < 0.1, 'the traces have a hole');
      assert.ok(left > 0.7, `only ${Math.round(left * 100)} % of the hole is open`);
      assert.equal(await whole.evaluate(() => performance.getEntriesByType('navigation').length), 1);
    },
  },
  {
    name: 'connection: over a link of 20 kB/s nothing that is shown as current is older than 2 s',
    async tell({ ward, browser, later, say }) {
      const proxy = await startProxy(ward, { rate: 20_000 });
      later(() => proxy.stop());
      const thick = await follow(ward);
      later(() => thick.stop());
      const { page, context } = await open(browser, proxy.url, { first: listenForAges });
      later(() => context.close());
      for (const name of ['round', 'bed', 'wrap']) {
        await page.goto(proxy.url + PATHS[name]);
        await page.waitForSelector('.clock[data-phase="live"]', { timeout: 60_000 });
        await page.evaluate(() => window.ages.begin());
        const before = proxy.carried();
        const seen = await page.evaluate(() => window.ages.after(10_000));
        const ids = name === 'round' ? [...new Set(thick.told.map((v) => v.id))] : [PATHS[name].split('/').at(-1)];
        seen.oldest.views = overtaken(thick.told, seen, ids);
        say(`${name}: ${((proxy.carried() - before) / 10_000).toFixed(0)} kB/s; current for ${Math.round(100 * seen.share)} % of the time, and at the oldest then: ${Object.entries(seen.oldest).map(([what, s]) => `${what} ${s.toFixed(1)} s`).join(', ')}`);
        assert.ok(seen.share > 0.25, 'it is seldom current');
        for (const [what, s] of Object.entries(seen.oldest)) assert.ok(s <= 2, `${name}: ${what} shown as current ${s.toFixed(1)} s old`);
      }
    },
  },
  {
    name: 'connection: a daemon that was started anew fills no hole, and nobody is told that it did',
    async tell({ ward, browser, binary, later, say }) {
      const proxy = await startProxy(ward);
      later(() => proxy.stop());
      const pages = [];
      for (const path of [PATHS.wrap, PATHS.round]) {
        const { page, context } = await open(browser, proxy.url + path);
        later(() => context.close());
        await live(page);
        pages.push(page);
      }
      await pages[0].waitForTimeout(3000);
      proxy.silence();
      await Promise.all(pages.map((page) => bar(page).waitFor({ timeout: 8000 })));
      await pages[0].waitForTimeout(4000); // nobody measures: longer than values last
      const anew = await demo(binary);
      later(() => anew.stop());
      proxy.lead(anew.url);
      proxy.mend();
      for (const page of pages) {
        const told = await until('it says that it is back', async () => {
          const text = (await page.locator('.bar').allInnerTexts()).join();
          return text.startsWith('Connection is back.') && text;
        }, 15_000);
        say(told);
        assert.match(told, /missing/);
      }
    },
  },
  {
    name: 'connection: on the round, a hang-up heals so fast that nothing need be said, or is said',
    async tell({ ward, browser, later }) {
      const proxy = await startProxy(ward);
      later(() => proxy.stop());
      const { page, context } = await open(browser, proxy.url);
      later(() => context.close());
      await live(page);
      proxy.hangUp();
      await until('the round is live', async () => (await page.locator('.clock').getAttribute('data-phase')) === 'live');
      const text = () => page.locator('li.band .sentence').allInnerTexts();
      const before = (await text()).join();
      await until('and goes on', async () => (await text()).join() !== before);
    },
  },
];
