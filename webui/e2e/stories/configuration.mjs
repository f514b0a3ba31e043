import assert from 'node:assert/strict';
import { readFileSync, writeFileSync } from 'node:fs';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, plain, show, throughWindows, until } from '../expect.mjs';

const CONFIG = `# Ward Larch
data: $DIR/record
web: {listen: "127.0.0.1:0"}
bridges:
  - {id: trolley, link: {file: {path: $DIR/none.csv}}, format: line, sources: [{number: 1, id: leg, channels: 2, rate: 1, unit: mmHg}]}
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [trolley/leg/0]}]}
rules:
  - {id: tight, limit: {watch: ankle.pressure, above: 60}, on_delay: 30s, priority: low} # local policy
`;

export default [
  {
    name: 'configuration: its faults are marked while one types, it comes into force without a restart, and what was can be taken back',
    async tell({ browser, binary, artifacts, later }) {
      const daemon = await withConfig(binary, CONFIG);
      later(() => daemon.stop());
      const { page, context, complaints } = await open(browser, `${daemon.url}/setup`);
      later(() => context.close());
      await live(page);
      await page.getByRole('link', { name: 'See and change the configuration' }).click();
      const text = page.getByRole('textbox', { name: 'Text of the configuration file' });
      const main = page.locator('main');
      const says = (words) => until(words, async () => plain(await main.innerText()).includes(words));
      await says('Nothing is wrong with this text');
      await says('The file says just that');

      // A fault is at its line; the keyboard leads from the text to it, and from it to its place.
      const good = await text.inputValue();
      await text.fill(good.replace('on_delay: 30s', 'on_delay: 30'));
      await says('1 thing is wrong with this text');
      await text.press('Tab');
      await page.keyboard.press('Enter');
      const at = await text.evaluate((area) => area.value.slice(area.selectionStart));
      assert.ok(at.startsWith('30, priority'), `the caret is before ${JSON.stringify(at.slice(0, 30))}`);
      await throughWindows(page, `${artifacts}/configuration`, { themes: ['light', 'dark'] });
      await show(page, 'light');

      // Another place and another limit; a page that is open has the place at once.
      const second = await context.newPage();
      await second.goto(daemon.url);
      await live(second);
      const better = good.replace('rules:', '  - {id: bench-2, kind: wrap, sites: [{id: ankle, channels: [trolley/leg/1]}]}\nrules:').replace('above: 60', 'above: 55');
      await text.fill(better);
      await says('place bench-2 is new');
      await says('rule tight has changed');
      await page.getByLabel('Your code').fill('E-02');
      await page.getByRole('button', { name: 'That is me' }).click();
      let held;
      const release = new Promise((go) => (held = go));
      await page.route('**/api/v1/configuration', async (route) => {
        if (route.request().method() === 'GET') await release;
        await route.fallback();
      });
      await page.getByRole('button', { name: 'Write the file and apply it' }).click();
      await says('Version 2 is in force.');
      assert.equal(readFileSync(daemon.file, 'utf8'), better);

      // Somebody changes the file meanwhile: nothing is written over, and both are shown. What
      // is typed before the page has read the file anew stands.
      writeFileSync(daemon.file, better.replace('above: 55', 'above: 50'));
      const mine = better.replace('above: 55', 'above: 45');
      await text.fill(mine);
      held();
      await says('The file says something else than what is in force');
      await page.unroute('**/api/v1/configuration');
      await second.getByRole('link', { name: 'bench-2' }).first().waitFor({ timeout: 20_000 });
      assert.equal(await text.inputValue(), mine);
      await says('Nothing is wrong with this text');
      await page.getByRole('button', { name: 'Write the file and apply it' }).click();
      await says('The file has been changed since it was read here');
      assert.match(readFileSync(daemon.file, 'utf8'), /above: 50/);
      await page.getByRole('button', { name: 'Keep my text' }).click();
      await page.getByRole('button', { name: 'Write the file and apply it' }).click();
      await says('Version 3 is in force.');

      // What was is in the record, with who applied it, and comes back as text.
      await says('Version 3, ');
      await says('applied by E-02');
      await page.getByRole('button', { name: /^Take it back: Version 1/ }).click();
      await says('place bench-2 is gone');
      await page.getByRole('button', { name: 'Write the file and apply it' }).click();
      await says('Version 4 is in force.');
      assert.equal(readFileSync(daemon.file, 'utf8'), good);
      await until('that the place is gone', async () => (await second.getByRole('link', { name: 'bench-2' }).count()) === 0);
      assert.deepEqual(complaints, []);
    },
  },
];
