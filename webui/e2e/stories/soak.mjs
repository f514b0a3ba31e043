import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, PATHS } from '../expect.mjs';

/** What a page holds after its garbage has been collected: script heap in MB, elements on it, and nodes that are on none. */
async function weigh({ page, cdp }) {
  for (let i = 0; i < 2; i++) await cdp.send('HeapProfiler.collectGarbage');
  const { usedSize } = await cdp.send('Runtime.getHeapUsage');
  const { nodes, jsEventListeners } = await cdp.send('Memory.getDOMCounters');
  const attached = await page.evaluate(() => {
    let n = 1;
    for (const walk = document.createNodeIterator(document); walk.nextNode(); ) n++;
    return n;
  });
  return { heap: usedSize / 1e6, attached, loose: nodes - attached, listeners: jsEventListeners };
}

/** Opens pages of a ward, all of which stay in view of themselves. */
async function openAll(browser, url, names, later) {
  return Promise.all(names.map(async (name) => {
    const { page, context, complaints } = await open(browser, url + PATHS[name], { height: 1600 });
    later(() => context.close());
    await live(page);
    return { name, page, complaints, cdp: await context.newCDPSession(page) };
  }));
}

const said = (w) => `${w.heap.toFixed(2)} MB, ${w.attached} nodes and ${w.loose} loose, ${w.listeners} listeners`;
const NAMES = ['round', 'bed', 'seat', 'wrap'];

export default [
  {
    name: 'soak: pages that stay open for a while keep no nodes, listeners or heap',
    async tell({ ward, browser, later, say }) {
      const pages = await openAll(browser, ward, NAMES, later);
      await pages[0].page.waitForTimeout(12_000);
      const before = await Promise.all(pages.map(weigh));
      await pages[0].page.waitForTimeout(15_000);
      const after = await Promise.all(pages.map(weigh));
      pages.forEach(({ name, complaints }, i) => {
        const [a, b] = [before[i], after[i]];
        say(`${name}: ${said(a)}; 15 s later ${said(b)}`);
        // What is on the page comes and goes with alerts; what is on none must not add up. Each
        // page draws ten times a second and is told something every second.
        assert.ok(b.loose - a.loose < 100, `${name}: ${b.loose - a.loose} nodes more are on no page`);
        assert.ok(b.listeners - a.listeners < 100, `${name}: ${b.listeners - a.listeners} more listeners`);
        assert.ok(b.heap - a.heap < 1, `${name}: ${(b.heap - a.heap).toFixed(2)} MB more`);
        assert.deepEqual(complaints, []);
      });
    },
  },
  {
    name: 'soak: pages that stay open for three hours, at ten times the speed, do not grow',
    long: true,
    async tell({ binary, browser, later, say }) {
      const ward = await demo(binary, '--speed', '10');
      later(() => ward.stop());
      const pages = await openAll(browser, ward.url, NAMES, later);
      const weights = [];
      for (let minute = 0; minute <= 180; minute += 10) {
        if (minute > 0) await pages[0].page.waitForTimeout(60_000);
        weights.push(await Promise.all(pages.map(weigh)));
        pages.forEach(({ name }, i) => say(`after ${minute} min ${name}: ${said(weights.at(-1)[i])}`));
      }
      pages.forEach(({ name, complaints }, i) => {
        // Alerts stay on the pages for an hour: from then on there is nothing left to grow.
        const least = (list, of) => Math.min(...list.map((w) => w[i][of]));
        const [early, late] = [weights.slice(7, 11), weights.slice(-4)];
        const grown = (of) => least(late, of) - least(early, of);
        say(`${name}: from the second hour to the third ${grown('heap').toFixed(2)} MB, ${grown('loose').toFixed(0)} loose nodes, ${grown('listeners').toFixed(0)} listeners`);
        assert.ok(grown('heap') < 0.05 * least(early, 'heap'), `${name}: ${grown('heap').toFixed(2)} MB more`);
        assert.ok(grown('loose') < 100 && grown('listeners') < 100, `${name}: nodes or listeners add up`);
        assert.deepEqual(complaints, []);
      });
    },
  },
];
