import assert from 'node:assert/strict';
import { WebSocket } from 'ws';
import { open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { PATHS, live, reads, until } from '../expect.mjs';
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
 * In the page, before anything of it: keeps what came when (`at` is of when it is), what was
 * asked for, and, once begun, when the page called itself current. Instants are in ms.
 */
function keepWhatComes() {
  const Plain = WebSocket;
  const kept = (window.kept = { came: [], current: [], looked: 0, asked: '', texts: {} });
  window.WebSocket = class extends Plain {
    constructor(...args) {
      super(...args);
      this.addEventListener('message', ({ data }) => {
        if (typeof data !== 'string') {
          const view = new DataView(data);
          kept.came.push([['', 'readings', 'map', 'loaded times'][view.getUint8(0)], view.getFloat64(8, true), Date.now()]);
          return;
        }
        const e = JSON.parse(data);
        if (e.now) kept.came.push(['word', Date.parse(e.now), Date.now()]);
        for (const p of e.places ?? (e.place ? [e.place] : [])) kept.came.push([`view of ${p.id}`, Date.parse(p.at), Date.now(), (kept.texts[p.id] = p.text ?? kept.texts[p.id])]);
      });
    }

    send(text) {
      if (text.startsWith('{"subscribe"')) kept.asked = text;
      super.send(text);
    }
  };
  kept.begin = () => {
    let ran = []; // a page that is held up by its machine could not have said anything meanwhile
    setInterval(() => {
      ran = [...ran.slice(-6), performance.now()];
      if (ran.length < 7 || ran[6] - ran[0] > 450) return;
      kept.looked++;
      if (document.querySelector('.clock').dataset.phase === 'live') kept.current.push(Date.now());
    }, 50);
  };
}

/** Asks for the same over a link on which nothing has to wait; gives back what came when. */
async function follow(url, asked) {
  const [came, texts] = [[], {}];
  const socket = new WebSocket(`${url.replace('http', 'ws')}/live`, 'weald.live.v1');
  await new Promise((open, fail) => socket.on('open', open).on('error', fail));
  socket.on('message', (data, binary) => {
    if (binary) {
      came.push([['', 'readings', 'map', 'loaded times'][data[0]], data.readDoubleLE(8), Date.now()]);
      socket.send(`{"got":${data.readUInt32LE(4)}}`);
      return;
    }
    const e = JSON.parse(data);
    if (e.event === 'beat') came.push(['word', Date.parse(e.now), Date.now()]);
    for (const p of e.places ?? (e.place ? [e.place] : [])) {
      texts[p.id] = p.text ?? texts[p.id];
      if (e.event !== 'snapshot') came.push([`view of ${p.id}`, Date.parse(p.at), Date.now(), texts[p.id]]);
    }
  });
  socket.send(asked);
  return { came, stop: () => socket.terminate() };
}

/** For how long, in s, something was shown as current at the most after something newer could have been had, by kind. */
function overtaken(could, { came, current }) {
  const most = {};
  for (const [what, at, had, text] of could) {
    if (!(had >= current[0])) continue;
    const kind = what.split(' of ')[0];
    const of = came.filter(([w]) => w === what);
    const [, , next] = of.find(([, a]) => a >= at) ?? [];
    const last = current.filter((t) => t < (next ?? Infinity)).at(-1) ?? 0;
    // A place that says what it said before is not told of again.
    if (text && of.filter(([, , c]) => c <= last).at(-1)?.[3] === text) continue;
    most[kind] = Math.max(most[kind] ?? 0, (last - had) / 1000);
  }
  return most;
}

export default [
  {
    name: 'connection: a silence of 30 s is said within three seconds, heals by itself, and its hole is filled, or is not claimed to be',
    takes: 53,
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
      await reads(() => bar(whole).innerText(), /No news since \d\d:\d\d:\d\d/);
      await until('what it shows is old', async () => (await whole.locator('main.old').count()) === 1);
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
      // An alert that came meanwhile may have moved them out of sight.
      for (const page of [whole, hollow]) await page.locator('[aria-labelledby="lanes-title"] canvas').scrollIntoViewIfNeeded();
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
    takes: 20,
    async tell({ ward, browser, later, say }) {
      // Each page over a link of its own.
      await Promise.all(['round', 'bed', 'wrap'].map(async (name) => {
        const proxy = await startProxy(ward, { rate: 20_000 });
        later(() => proxy.stop());
        const { page, context } = await open(browser, proxy.url + PATHS[name], { first: keepWhatComes });
        later(() => context.close());
        // What the page is about comes after its frame, and so does what it asks for.
        const asked = await until('it asks for all that it shows', () => page.evaluate(() => /"places":"all"|"signals":\["/.test(window.kept.asked) && window.kept.asked), 60_000);
        await page.waitForSelector('.clock[data-phase="live"]', { timeout: 60_000 });
        const thick = await follow(ward, asked);
        later(() => thick.stop());
        const before = proxy.carried();
        const seen = await page.evaluate(async () => {
          window.kept.begin();
          await new Promise((go) => setTimeout(go, 7000));
          return window.kept;
        });
        thick.stop();
        const [late, share] = [overtaken(thick.came, seen), seen.current.length / seen.looked];
        say(`${name}: ${((proxy.carried() - before) / 7000).toFixed(0)} kB/s; current for ${Math.round(100 * share)} % of the time, and at the oldest then: ${Object.entries(late).map(([what, s]) => `${what} ${s.toFixed(1)} s`).join(', ')}`);
        assert.ok(share > 0.25, 'it is seldom current');
        assert.ok('word' in late && (name === 'round' || 'readings' in late), 'it was followed');
        for (const [what, s] of Object.entries(late)) assert.ok(s <= 2, `${name}: ${what} shown as current ${s.toFixed(1)} s old`);
      }));
    },
  },
  {
    name: 'connection: a daemon that was started anew fills no hole, and nobody is told that it did',
    takes: 15,
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
      // At once, as it is said for some seconds only.
      await Promise.all(pages.map(async (page) => {
        const told = await until('it says that it is back', async () => {
          const text = (await page.locator('.bar').allInnerTexts()).join();
          return text.startsWith('Connection is back.') && text;
        }, 15_000);
        say(told);
        assert.match(told, /missing/);
      }));
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
