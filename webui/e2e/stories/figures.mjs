import assert from 'node:assert/strict';
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';
import { launch, open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, look, until } from '../expect.mjs';
import { startMock } from '../mock/server.mjs';
import { place } from '../mock/ward.mjs';

/** CPU that the page's renderer and the whole browser use over some seconds, as shares of one core, by the browser's own accounts. */
async function cpu(browser, seconds, meanwhile = async () => {}) {
  const cdp = await browser.newBrowserCDPSession();
  const read = async () => new Map((await cdp.send('SystemInfo.getProcessInfo')).processInfo.map((p) => [`${p.type} ${p.id}`, p.cpuTime]));
  const [before, began] = [await read(), performance.now()];
  await Promise.all([new Promise((go) => setTimeout(go, seconds * 1000)), meanwhile()]);
  const [after, took] = [await read(), (performance.now() - began) / 1000];
  const shares = [...after].map(([key, time]) => [key, (time - (before.get(key) ?? 0)) / took]);
  const sum = (list) => list.reduce((a, [, x]) => a + x, 0);
  return { renderer: Math.max(...shares.filter(([k]) => k.startsWith('renderer')).map(([, x]) => x)), all: sum(shares) };
}

/** In the page, before anything of it: when the frame was over that drew the first place, in ms. */
function watchFirstBand() {
  const look = () => {
    if (!document.querySelector('li.band .sentence')?.textContent) return requestAnimationFrame(look);
    requestAnimationFrame(() => (window.firstBand = performance.now()));
  };
  requestAnimationFrame(look);
}

/** In a bare page: canvases that are drawn anew ten times a second, each moved on by a pixel. */
function moveBare(sizes) {
  const all = sizes.map(([width, height]) => {
    const c = document.body.appendChild(document.createElement('canvas'));
    [c.width, c.height] = [width, height];
    return c.getContext('2d');
  });
  let n = 0;
  setInterval(() => {
    n++;
    for (const g of all) {
      g.drawImage(g.canvas, -1, 0);
      g.fillStyle = n % 2 ? '#246' : '#ace';
      g.fillRect(g.canvas.width - 1, (n * 7) % g.canvas.height, 1, 20);
    }
  }, 100);
}
// How many times what a bare page takes a real one may take, where that is more than the limit.
const MOST_OF_BARE = 1.5;

const share = (x) => `${(100 * x).toFixed(1)} %`;

export default [
  {
    name: 'figures: 24 channels at 50/s and a map at 10/s take less than 15 % of a core, or little more than a bare page that moves as much',
    alone: 'accounts',
    async tell({ later, say }) {
      const mock = await startMock([place('trial', 'bed', { sites: 24, rate: 50, rows: 32, columns: 64 })]);
      later(() => mock.stop());
      const browser = await launch(); // one of its own, so that its accounts are this page's
      later(() => browser.close());
      const { page, complaints } = await open(browser, `${mock.url}/places/trial`, { width: 1280, height: 1700 });
      await live(page);
      await until('map and traces are drawn', async () => (await look(page, '.map canvas')).colours > 8 && (await look(page, '[aria-labelledby="lanes-title"] canvas')).colours > 2);
      await page.waitForTimeout(3000);
      const used = await cpu(browser, 12);
      say(`renderer ${share(used.renderer)} of a core, all of the browser ${share(used.all)}`);
      // What a core does is the machine's, not the page's: a bare page whose canvases are as
      // large and move as often, and that does nothing else, is what it is held against.
      const canvases = await page.evaluate(() => [...document.querySelectorAll('canvas')].map((c) => [c.width, c.height]));
      const heap = await page.evaluate(() => performance.memory.usedJSHeapSize / 1e6);
      say(`script heap ${heap.toFixed(1)} MB`);
      assert.deepEqual(complaints, []);
      await page.goto('about:blank');
      await page.evaluate(moveBare, canvases);
      await page.waitForTimeout(3000);
      const bare = await cpu(browser, 12);
      say(`a bare page with ${canvases.length} canvases that move ten times a second: renderer ${share(bare.renderer)}`);
      assert.ok(used.renderer < Math.max(0.15, MOST_OF_BARE * bare.renderer), `the renderer takes ${share(used.renderer)}, and ${share(bare.renderer)} for a bare page`);
    },
  },
  {
    name: 'figures: a round of sixty places takes less than 10 % of a core, and scrolls smoothly',
    alone: 'accounts',
    async tell({ later, say }) {
      const mock = await startMock(Array.from({ length: 60 }, (_, i) => place(`bed-${i + 1}`, 'bed', { rows: 32, columns: 64 })));
      later(() => mock.stop());
      const browser = await launch();
      later(() => browser.close());
      const { page } = await open(browser, mock.url);
      await live(page);
      await until('sixty bands', async () => (await page.locator('li.band').count()) === 60);
      await page.waitForTimeout(6000);
      const still = await cpu(browser, 6);
      say(`renderer ${share(still.renderer)} of a core, all of the browser ${share(still.all)}`);
      assert.ok(still.renderer < 0.1, `the renderer takes ${share(still.renderer)}`);
      const frames = [];
      const used = await cpu(browser, 10, async () => {
        frames.push(...(await page.evaluate(
          () =>
            new Promise((done) => {
              const gaps = [];
              const [first, end] = [performance.now(), document.documentElement.scrollHeight - innerHeight];
              let last = first;
              const step = (now) => {
                gaps.push(now - last);
                last = now;
                scrollTo(0, (end * (1 - Math.cos((now - first) / 1500))) / 2);
                if (now - first < 9000) requestAnimationFrame(step);
                else done(gaps);
              };
              requestAnimationFrame(step);
            }),
        )));
      });
      frames.sort((a, b) => a - b);
      const at = (q) => frames[Math.floor(q * (frames.length - 1))];
      say(`frame ${at(0.5).toFixed(0)} ms in the middle, ${at(0.95).toFixed(0)} ms for 95 of 100, longest ${at(1).toFixed(0)} ms; renderer ${share(used.renderer)} of a core while scrolling`);
      assert.ok(at(0.95) < 60, '5 of 100 frames take longer than 60 ms');
    },
  },
  {
    name: 'figures: the first page is drawn within a second of a cold start',
    alone: true,
    async tell({ binary, later, say }) {
      const ward = await demo(binary);
      later(() => ward.stop());
      const [took, bare] = [[], []];
      for (let i = 0; i < 3; i++) {
        const browser = await launch(); // which has nothing of the pages yet
        later(() => browser.close());
        // What a browser takes to begin, and for a page of a word.
        const word = await open(browser, `${ward.url}/healthz`);
        bare.push(await word.page.evaluate(() => performance.getEntriesByType('navigation')[0].loadEventEnd));
        await word.context.close();
        // From when the address is gone to until the frame is over that has the first place in it.
        const { page } = await open(browser, ward.url, { first: watchFirstBand });
        took.push(await until('a place is drawn', () => page.evaluate(() => window.firstBand), 20_000));
        await browser.close();
      }
      for (const list of [took, bare]) list.sort((a, b) => a - b);
      say(`${took.map((t) => t.toFixed(0)).join(', ')} ms; a page of a word ${bare.map((t) => t.toFixed(0)).join(', ')} ms`);
      assert.ok(took[1] - bare[1] < 1000, `the middle of three took ${took[1].toFixed(0)} ms`);
    },
  },
  {
    name: 'figures: the first page, and that of who sits, are smaller than 60 kB, packed',
    alone: true,
    async tell({ say }) {
      const dist = fileURLToPath(new URL('../../dist/', import.meta.url));
      const packed = (files) => files.reduce((sum, f) => sum + gzipSync(readFileSync(dist + f), { level: 9 }).length, 0);
      const of = (page) => [page, ...[...readFileSync(dist + page, 'utf8').matchAll(/(?:src|href)="\/(assets\/[^"]+)"/g)].map((m) => m[1])];
      const [first, seat] = [of('index.html'), of('seat/index.html')];
      const all = ['index.html', ...readdirSync(`${dist}assets`).map((f) => `assets/${f}`)];
      say(`${(packed(first) / 1000).toFixed(1)} kB in ${first.length} files; with what is loaded when it is opened, ${(packed(all) / 1000).toFixed(1)} kB in ${all.length}`);
      assert.ok(first.length >= 3 && packed(first) < 60_000);
      say(`${(packed(seat) / 1000).toFixed(1)} kB in ${seat.length} files for who sits`);
      assert.ok(seat.length >= 3 && packed(seat) < 60_000);
      const later = all.filter((f) => !first.includes(f) && !seat.includes(f)).map((f) => [packed([f]), f]);
      const [most, largest] = later.sort(([a], [b]) => b - a)[0];
      say(`the largest part that comes later is ${largest} with ${(most / 1000).toFixed(1)} kB`);
      assert.ok(most < 20_000);
    },
  },
];
