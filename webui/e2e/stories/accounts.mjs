import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { open } from '../browser.mjs';
import { withConfig } from '../daemon.mjs';
import { live, overflow, plain, throughWindows, until, violations } from '../expect.mjs';

const yaml = `data: $DIR/record
web: {listen: "127.0.0.1:0", accounts: required}
bridges:
  - id: trolley
    link: {file: {path: $DIR/none.csv}}
    format: delimited
    delimited: {time: {column: 0, as: seconds}, channels: [1]}
    sources: [{number: 0, id: leg, channels: 1, rate: 10, unit: mmHg}]
places:
  - {id: bench-1, kind: wrap, sites: [{id: ankle, channels: [trolley/leg/0]}]}
`;
const password = 'vier blaue Heringe';

async function logIn(page, name, typed = password) {
  await page.getByLabel('Name').fill(name);
  await page.getByLabel('Password').fill(typed);
  await page.getByRole('button', { name: 'Log in', exact: true }).click();
}

export default [
  {
    name: 'accounts: whoever is in acts under the own name, and is out at the log-out; a wall screen looks, until it is withdrawn',
    async tell({ browser, binary, artifacts, later }) {
      const daemon = await withConfig(binary, yaml);
      later(() => daemon.stop());
      const account = (...args) => execFileSync(binary, ['account', ...args, '-c', daemon.file], { input: `${password}\n` });
      const at = (url) => open(browser, url, {}).then((o) => (later(() => o.context.close()), o));
      const { page, complaints } = await at(`${daemon.url}/places/bench-1`);
      await page.getByText('weald account add NAME').waitFor(); // before there is one
      account('add', 'anna', '--role', 'admin');
      account('add', 'kai', '--role', 'carer');

      assert.doesNotMatch(await page.locator('body').innerText(), /bench-1|Records/);
      await throughWindows(page, `${artifacts}/log-in`);
      await logIn(page, 'kai', 'nicht das richtige');
      await page.getByText('The name or the password is not right.').waitFor();
      await logIn(page, 'kai');
      await live(page);
      await page.getByLabel('Something else').fill('dressing changed');
      await page.getByRole('button', { name: 'Mark', exact: true }).click();
      await until('the mark, by kai', async () => /dressing changed[^]*kai/.test(plain(await page.locator('main').innerText())));
      await page.goto(`${daemon.url}/setup`);
      await page.getByRole('heading', { name: 'trolley' }).waitFor();
      assert.equal(await page.getByRole('heading', { name: 'Accounts' }).count(), 0);
      assert.equal(await page.evaluate(() => fetch('/api/v1/accounts').then((r) => r.status)), 403);
      assert.equal(await overflow(page), 0); // of a phone, with a name in its header
      await page.locator('header summary', { hasText: 'kai' }).click();
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/log-out-360.png` });
      await page.getByRole('button', { name: 'Log out' }).click();
      await page.getByRole('heading', { name: 'Log in' }).waitFor();
      assert.equal(await page.evaluate(() => fetch('/api/v1/places').then((r) => r.status)), 401);

      await page.setViewportSize({ width: 1280, height: 900 });
      await page.goto(`${daemon.url}/setup`);
      await logIn(page, 'anna');
      const passes = page.locator('section[aria-labelledby=passes-title]');
      await passes.getByLabel('What it is for').first().fill('corridor');
      await passes.getByLabel('Addresses of the screen').fill('127.0.0.0/8');
      await passes.getByRole('button', { name: 'Make the link' }).click();
      const link = await until('the link', async () => /http\S+#\w+/.exec(await passes.innerText())?.[0]);
      assert.deepEqual(await violations(page), []);
      await page.screenshot({ path: `${artifacts}/accounts-setup.png`, fullPage: true });

      const wall = await at(link);
      await live(wall.page);
      assert.equal(new URL(wall.page.url()).hash, '');
      await wall.page.getByText('bench-1').first().waitFor();
      assert.deepEqual(await wall.page.locator('nav a').allInnerTexts(), ['Round', 'Alerts', 'Handbook']);
      await wall.page.goto(`${daemon.url}/places/bench-1`); // the cookie is what is left of the link
      await live(wall.page);
      assert.deepEqual(await violations(wall.page), []);
      assert.equal(await wall.page.evaluate(() => fetch('/api/v1/sessions').then((r) => r.status)), 403);
      await wall.page.screenshot({ path: `${artifacts}/wall.png` });

      await passes.getByRole('button', { name: 'Withdraw (corridor)' }).click();
      await wall.page.getByRole('heading', { name: 'Log in' }).waitFor(); // shows nothing any more
      assert.doesNotMatch(await wall.page.locator('body').innerText(), /bench-1/);

      // A person is taken out when the code was given twice, and the daemon comes back by itself.
      const erase = page.locator('section', { has: page.getByRole('heading', { name: 'Take a person out' }) });
      await erase.getByLabel('Code of the person').fill('K-07');
      await erase.getByRole('button', { name: 'Take out…' }).click();
      await erase.getByLabel('The code once more').fill('K-08');
      await erase.getByRole('button', { name: 'Take out for good' }).click();
      await erase.getByText('give the code once more').waitFor();
      await erase.getByLabel('The code once more').fill('K-07');
      await throughWindows(page, `${artifacts}/erase`, { of: erase });
      await erase.getByRole('button', { name: 'Take out for good' }).click();
      await erase.getByText('nothing of that person').waitFor();
      assert.deepEqual([...complaints, ...wall.complaints], []);
    },
  },
];
