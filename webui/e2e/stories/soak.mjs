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

/**
 * The objects, arrays, functions and texts that scripts of a page hold, in MB: of the heap that
 * grows, compiled code and what the browser notes down for whoever watches it are none of them.
 */
async function own({ cdp }) {
  let text = '';
  const take = ({ chunk }) => (text += chunk);
  cdp.on('HeapProfiler.addHeapSnapshotChunk', take);
  await cdp.send('HeapProfiler.takeHeapSnapshot', { reportProgress: false });
  cdp.off('HeapProfiler.addHeapSnapshotChunk', take);
  const { snapshot, nodes, strings } = JSON.parse(text);
  const { node_fields: fields, node_types: [types] } = snapshot.meta;
  let sum = 0;
  for (let i = 0; i < nodes.length; i += fields.length) {
    const type = types[nodes[i]];
    // Where a request came from is kept as a text for each.
    if (['object', 'array', 'closure'].includes(type) || (type === 'string' && !/\bat .*https?:/s.test(strings[nodes[i + 1]]))) sum += nodes[i + 3];
  }
  return sum / 1e6;
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
    takes: 25,
    async tell({ ward, browser, later, say }) {
      const pages = await openAll(browser, ward, NAMES, later);
      await pages[0].page.waitForTimeout(8000);
      const before = await Promise.all(pages.map(weigh));
      await pages[0].page.waitForTimeout(12_000);
      const after = await Promise.all(pages.map(weigh));
      pages.forEach(({ name, complaints }, i) => {
        const [a, b] = [before[i], after[i]];
        say(`${name}: ${said(a)}; 12 s later ${said(b)}`);
        // What is on the page comes and goes with alerts, and as much again beside it that it is made
        // of; what is on none must not add up. Each page draws ten times a second.
        const more = b.loose - a.loose - 2 * Math.max(0, b.attached - a.attached);
        assert.ok(more < 100, `${name}: ${more} nodes more are on no page`);
        assert.ok(b.listeners - a.listeners < 100, `${name}: ${b.listeners - a.listeners} more listeners`);
        assert.ok(b.heap - a.heap < 1, `${name}: ${(b.heap - a.heap).toFixed(2)} MB more`);
        assert.deepEqual(complaints, []);
      });
    },
  },
  {
    name: 'soak: pages that stay open for an hour, at ten times the speed, do not grow',
    long: true,
    async tell({ binary, browser, later, say }) {
      const ward = await demo(binary, '--speed', '10');
      later(() => ward.stop());
      const pages = await openAll(browser, ward.url, NAMES, later);
      const weights = [];
      for (let minute = 0; minute <= 70; minute += 10) {
        if (minute > 0) await pages[0].page.waitForTimeout(60_000);
        weights.push(await Promise.all(pages.map(async (page) => ({ ...(await weigh(page)), own: await own(page) }))));
        pages.forEach(({ name }, i) => say(`after ${minute} min ${name}: ${weights.at(-1)[i].own.toFixed(2)} MB of its own; ${said(weights.at(-1)[i])}`));
      }
      // The first minutes fill what has a size of its own; alerts that are over are kept for an hour.
      pages.forEach(({ name, complaints }, i) => {
        const [early, late] = [weights[1][i], weights.at(-1)[i]];
        assert.ok(late.own - early.own < 0.25, `${name}: ${(late.own - early.own).toFixed(2)} MB more of its own`);
        assert.ok(late.loose - early.loose < 150 && late.listeners - early.listeners < 100, `${name}: nodes or listeners add up`);
        assert.deepEqual(complaints, []);
      });
    },
  },
];
