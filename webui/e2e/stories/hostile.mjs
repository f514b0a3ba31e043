import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, PATHS, plain, until } from '../expect.mjs';

const MARKUP = `"'><script>window.weal=1</script><img src=x onerror="window.weal=1"><svg onload="window.weal=1">{@html 1}`;
const NAME = `"'><img src=x onerror="weal=1">`; // a dot would make a file of it

const YAML = `
data: $DIR/record
web: {listen: "127.0.0.1:0", tls: {self_signed: true}}
bridges:
  - id: trolley
    link: {serial: {port: $DIR/none}}
    format: line
    sources: [{number: 0, id: leg, channels: 2, rate: 2}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [trolley/leg/0]}, {id: calf, channels: [trolley/leg/1]}]}
  - {id: seat-1, kind: seat, sites: [{id: left, channels: [trolley/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 30s, priority: medium}
`;

export default [
  {
    name: 'hostile: over TLS, what people wrote is text on every page, and runs nowhere',
    async tell({ binary, browser, later }) {
      const daemon = await withConfig(binary, YAML);
      later(() => daemon.stop());
      assert.match(daemon.url, /^https:/);
      const { page, context, complaints } = await open(browser, daemon.url, { trusting: true });
      later(() => context.close());
      const say = async (path, data) => {
        const answer = await context.request.post(daemon.url + path, { data });
        assert.equal(answer.status(), 201, `${path}: ${await answer.text()}`);
        return answer.json();
      };
      await say('/api/v1/places/bench-1/marks', { what: MARKUP.slice(0, 60), text: MARKUP, author: 'N-4' });
      await say('/api/v1/sessions', { place: 'bench-1', code: 'K-07', notes: MARKUP, author: 'N-4' });
      await say('/api/v1/seat-links', { place: 'seat-1', by: 'N-4', why: MARKUP, base: 'https://weald.larch.example' });
      const rows = [0, 20, 40, 60, 80, 60, 40, 20, 0].map((p) => ({ reference_mmhg: p, raw: 100 + 10 * p, cycle: 1 }));
      const { calibration } = await say('/api/v1/calibrations', { bridge: 'trolley', source: 'leg', channel: 0, by: 'E-01', reference: MARKUP, method: MARKUP, rows });
      const reads = { '/records': '<script>', '/places/bench-1': '<script>', [`/api/v1/calibrations/${calibration.id}/sheet`]: '<script>' };
      const paths = ['/', '/places/bench-1', '/places/seat-1', '/alerts', '/records', '/bench', '/rehearse', '/calibrate', '/setup', '/setup/trolley/leg', ...Object.keys(reads).slice(2)];
      for (const path of [...paths, `/places/${encodeURIComponent(NAME)}`, `/${encodeURIComponent(NAME)}`]) {
        await page.goto(daemon.url + path);
        if (!path.startsWith('/api')) await live(page).catch((e) => assert.fail(`${path}: ${e}\n${complaints.join('\n')}`));
        if (reads[path]) await until(`${path} shows what was written`, async () => plain(await page.locator('body').innerText()).includes(reads[path]));
        const found = await page.evaluate(() => [window.weal, document.querySelectorAll('img[src="x"], svg[onload]').length, [...document.scripts].filter((s) => /weal=/.test(s.text)).length]);
        assert.deepEqual(found, [undefined, 0, 0], path);
      }
      assert.deepEqual(complaints, []);
    },
  },
];
