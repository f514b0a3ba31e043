import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, reads, until } from '../expect.mjs';

const CONFIG = `
data: $DIR/data
web: {listen: 127.0.0.1:0}
bridges:
  - id: trolley
    link: {serial: {port: $DIR/no-such-port, baud: 115200}}
    format: line
    sources:
      - {number: 0, id: leg, channels: 2, rate: 10, unit: mmHg}
      - {number: 1, id: raw, channels: 1, rate: 10}
places:
  - id: bench-9
    kind: wrap
    sites:
      - {id: ankle, height_cm: 12, circumference_cm: 23.5, channels: [trolley/leg/0]}
      - {id: calf, height_cm: 31, circumference_cm: 36, channels: [trolley/leg/1]}
  - id: bench-10
    kind: wrap
    sites:
      - {id: ankle, height_cm: 12, circumference_cm: 23.5, channels: [trolley/raw/0]}
rules:
  - {id: tight, at: {kind: wrap}, limit: {watch: ankle.pressure, above: 60}, on_delay: 30s, priority: medium}
self:
  silence: {limit: 5}
  memory: {off: true}
`;

export default [
  {
    name: 'equipment: a port that does not exist is said on the pages, and nothing is shown as zero',
    async tell({ binary, browser, later, artifacts }) {
      const daemon = await withConfig(binary, CONFIG);
      later(() => daemon.stop());
      const { page, context, complaints } = await open(browser, daemon.url);
      later(() => context.close());
      await until('the round says so', async () => /Bridge trolley: .*no-such-port/.test((await page.locator('aside').allInnerTexts()).join()));
      await until('bench-9 has no data', async () => (await page.locator('li.band[data-mark="unknown"]').count()) === 1);
      await until('one is not calibrated', async () => (await page.locator('li.band[data-mark="uncalibrated"]').count()) === 1);
      await reads(() => page.locator('li.band[data-mark="uncalibrated"]').innerText(), /not calibrated/);
      await until('the round says that nothing arrives at all', async () => /high priority\s+Weald itself: nothing has arrived from any bridge/.test((await page.locator('aside').allInnerTexts()).join()));
      await page.screenshot({ path: `${artifacts}/bad-port-round.png` });
      await page.goto(`${daemon.url}/setup`);
      await until('the setup says so', async () => /no-such-port[\s\S]*next try/.test(await page.locator('main').innerText()));
      const itself = page.locator('section[aria-labelledby="itself"]');
      await until('so does what the daemon watches of itself', async () => /Nothing arrives/.test(await itself.locator('li[data-state="raised"]').innerText()));
      await reads(() => itself.innerText(), /an alert above 5\ss[\s\S]*Nobody outside: the configuration has no heartbeat/);
      const { version } = await fetch(`${daemon.url}/healthz`).then((r) => r.json());
      assert.match(version, /^\d+\.\d+\.\d+/);
      assert.ok((await itself.innerText()).includes(`This is weald ${version}.`), 'the version stands there');
      await page.screenshot({ path: `${artifacts}/bad-port-setup.png` });
      await page.goto(`${daemon.url}/places/bench-9`);
      await until('the sites are not known', async () => (await page.locator('dd').allInnerTexts()).filter((t) => t.includes('— not known')).length === 2);
      await until('both are unknown', async () => (await page.locator('g.site[data-state="unknown"]').count()) === 2);
      await page.screenshot({ path: `${artifacts}/bad-port-wrap.png` });
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'equipment: where nothing is kept no page asks for what is kept, and each says so',
    async tell({ binary, browser, later }) {
      const daemon = await withConfig(binary, CONFIG.replace(/^data:.*$/m, ''));
      later(() => daemon.stop());
      const { page, context, complaints } = await open(browser, daemon.url);
      later(() => context.close());
      const refused = [];
      page.on('response', (r) => r.status() === 503 && refused.push(r.url()));
      await live(page);
      for (const [path, says] of [
        ['/places/bench-9', /Is it graduated/], ['/records', /no folder|nothing is kept/i], ['/bench', /names no folder/], ['/calibrate', /no folder|nothing is kept/i],
        ['/rehearse', /Nothing is kept/], ['/setup/trolley/leg', /leg/], ['/setup', /Weald itself/], ['/alerts', /Alerts/],
      ]) {
        await page.goto(daemon.url + path);
        await live(page);
        await until(`${path} says so`, async () => says.test(await page.locator('main').innerText()), 10_000);
      }
      await page.getByRole('button', { name: 'Show what happened' }).press('Enter');
      await until('there is no history', async () => /keeps no record/.test(await page.locator('main').innerText()));
      assert.deepEqual(refused, []);
      assert.deepEqual(complaints, []);
    },
  },
];
