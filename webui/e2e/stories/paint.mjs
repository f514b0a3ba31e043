import assert from 'node:assert/strict';
import { startBoard } from '../board.mjs';
import { launch, open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, until } from '../expect.mjs';

const config = (address) => `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:
  - {id: hub, link: {tcp: {dial: "${address}"}}, format: packed, sources: [{number: 1, id: leg, channels: 1, rate: 10, calibration: {slope: 0.1, offset: 0, u: 1}}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, height_cm: 12, channels: [hub/leg/0]}], target: {ankle: [20, 40]}}
rules:
  - {id: tight, at: {kind: wrap}, limit: {watch: ankle.pressure, above: 80}, on_delay: 30s, priority: medium}
`;

/** Values that follow each other, in mmHg: each is told apart from the others by where it is drawn. */
const STEPS = 16;
const value = (seq) => 5 + 3 * (seq % STEPS);

const wall = () => performance.timeOrigin + performance.now();

/** In the page: where the mark of a site is drawn, and when the frame that drew it was over. */
function watchMarks() {
  window.drawn = [];
  const mark = document.querySelector('g.site');
  new MutationObserver(() => {
    const x = Number(/translate\(([\d.]+)/.exec(mark.getAttribute('transform'))[1]);
    if (x === window.drawn.at(-1)?.x) return;
    const entry = { x, at: 0 };
    window.drawn.push(entry);
    requestAnimationFrame(() => (entry.at = performance.timeOrigin + performance.now()));
  }).observe(mark, { attributes: true, attributeFilter: ['transform'] });
}

/** In the page: how long the daemon takes to answer over a connection of the same kind, n times. */
function echo(n) {
  return new Promise((done, fail) => {
    const socket = new WebSocket(`ws://${location.host}/live`, 'weald.live.v1');
    const took = [];
    let asked = 0;
    const ask = () => {
      asked = performance.now();
      socket.send('{"subscribe":{"places":[],"signals":[],"maps":[]}}');
    };
    socket.onopen = ask;
    socket.onerror = socket.onclose = () => fail(new Error(`answered ${took.length} times`));
    socket.onmessage = (e) => {
      if (typeof e.data !== 'string' || JSON.parse(e.data).event !== 'snapshot') return;
      took.push(performance.now() - asked);
      // A viewer may say only so much: see the protocol.
      if (took.length < n) return setTimeout(ask, 197);
      done(took);
      socket.close();
    };
  });
}

const at = (list, q) => list.toSorted((a, b) => a - b)[Math.floor(q * (list.length - 1))];
const ms = (list) => `${at(list, 0.5).toFixed(0)} ms in the middle, ${at(list, 0.95).toFixed(0)} ms for 95 of 100`;

export default [
  {
    name: 'figures: from a byte on the wire to paint it takes less than 120 ms',
    alone: true,
    async tell({ binary, later, say }) {
      const left = new Map();
      const board = await startBoard([{ number: 1, channels: 1, rate: 10, rest: (_, seq) => 10 * value(seq), sent: (seq) => left.set(seq, wall()) }]);
      later(() => board.stop());
      const daemon = await withConfig(binary, config(board.address));
      later(() => daemon.stop());
      const browser = await launch();
      later(() => browser.close());
      const { page, complaints } = await open(browser, `${daemon.url}/places/bench-1`);
      await live(page);
      await until('the site is measured', async () => (await page.locator('g.site').getAttribute('data-state')) !== 'unknown');
      await page.waitForTimeout(1500);
      await page.evaluate(watchMarks);
      const bare = await page.evaluate(echo, 50);
      const drawn = (await page.evaluate(() => window.drawn)).filter((d) => d.at > 0);
      // The drawing is linear: its ends are the least and the greatest value.
      const [low, high] = [Math.min(...drawn.map((d) => d.x)), Math.max(...drawn.map((d) => d.x))];
      const took = drawn.map(({ x, at: painted }) => {
        const step = Math.round(((x - low) / (high - low)) * (STEPS - 1));
        const sent = [...left].filter(([seq, t]) => seq % STEPS === step && t < painted).at(-1);
        return painted - sent[1];
      });
      say(`${took.length} of ${left.size} scans painted: ${ms(took)} after the byte; the daemon answers in ${ms(bare)}`);
      assert.ok(took.length > 50, 'too few were painted');
      // What a bare answer takes is the machine's, not the page's.
      assert.ok(at(took, 0.95) < 120 + at(bare, 0.95), `95 of 100 take up to ${at(took, 0.95).toFixed(0)} ms`);
      assert.deepEqual(complaints, []);
    },
  },
];
