import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, plain, throughWindows, until } from '../expect.mjs';

const at = '2026-03-01T14:03:00Z';
const sender = (id, over) => ({
  id, reaches: `webhook at https://${id}.larch`, state: 'well', trouble: '', trouble_since: null, next_try_at: null, waiting: 0, waiting_since: null,
  sent: 3, given_up: 0, withdrawn: 0, last_sent_at: at, last_test_at: at, calls: [], ...over,
});

export default [
  {
    name: 'senders: the Alerts page says who is told, or that nobody is, and whether the way is open',
    async tell({ ward, browser, artifacts, later }) {
      const { page, context, complaints } = await open(browser, `${ward}/alerts`.replace('//alerts', '/alerts'));
      later(() => context.close());
      await live(page);
      const section = page.locator('section[aria-labelledby=senders]');
      await until('that nobody is told', async () => /Nobody: the configuration names no senders/.test(plain(await section.innerText())));
      const senders = [
        sender('desk', {}),
        sender('night', { state: 'broken', trouble: 'mail.larch:587 refuses connections: is it running, and is the port right?', trouble_since: at, next_try_at: at, waiting: 2, waiting_since: at, given_up: 1 }),
        sender('lamp', { state: 'untried', sent: 0, last_sent_at: null, last_test_at: null }),
      ];
      await page.route('**/api/v1/senders', (route) => route.fulfill({ json: { senders } }));
      await until('the senders', async () => (await section.locator('li').count()) === 3);
      const said = plain(await section.innerText());
      for (const words of ['Gets through', 'Does not get through: mail.larch:587 refuses connections', '2 messages wait', '1 given up', 'Nothing has been sent yet', 'not one that was seen']) assert.ok(said.includes(words), `${words}: ${said}`);
      await throughWindows(page, `${artifacts}/senders`, { of: section, themes: ['light', 'dark'] });
      await page.route('**/api/v1/senders', (route) => route.abort());
      await until('that it is not known', async () => /does not say how its senders fare/.test(plain(await section.innerText())));
      assert.deepEqual(complaints, []);
    },
  },
];
