import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, plain, reads, throughWindows, until } from '../expect.mjs';

const main = async (page) => plain(await page.locator('main').innerText());

export default [
  {
    name: 'rehearse: the field of a rule, a limit by keyboard and by dragging, what comes and goes by seconds and by every reading, and a proposal that is kept',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, `${ward}/rehearse`);
      later(() => context.close());
      await live(page);
      await page.getByLabel('Place').selectOption('bench-1');
      // Any stretch will do that has a beginning and an end.
      await page.getByLabel('Stretch').selectOption('own');
      await page.getByRole('button', { name: 'Show the field' }).press('Enter');
      await until('an end is asked for', async () => /Give both times/.test(await main(page)));
      await page.getByLabel('Stretch').selectOption('3600');
      // The daemon may be seconds old: until something was kept there is nothing to judge.
      await until('there is a field', async () => {
        await page.getByRole('button', { name: 'Show the field' }).press('Enter');
        return page.getByRole('slider', { name: 'Limit' }).waitFor({ timeout: 2000 }).then(() => true, () => false);
      }, 60_000);
      await reads(() => main(page), /A rule that was quiet on a recording is not thereby safe/);
      await reads(() => main(page), /Tried[\s\S]*alerts? in [\s\S]*Today’s rule[\s\S]*alerts? in /);
      const limit = page.getByRole('slider', { name: 'Limit' });
      await until('the present rule is what stays', async () => /0 come, 0 go, 0 move/.test(await main(page)));
      await limit.press('End');
      const highest = await limit.getAttribute('aria-valuetext');
      // The lowest limit at once is beyond for as long as there are readings.
      await limit.press('Home');
      await page.getByRole('slider', { name: 'Delay' }).press('Home');
      assert.notEqual(await limit.getAttribute('aria-valuetext'), highest);
      await until('something comes', async () => /[1-9]\d* come/.test(await main(page)) || /[1-9]\d* move/.test(await main(page)));
      // Dragging to the corner of the highest limit and the longest delay does what End does.
      const box = await page.getByRole('img', { name: /^Field of rule/ }).boundingBox();
      await page.mouse.move(box.x + 5, box.y + box.height - 5);
      await page.mouse.down();
      await page.mouse.move(box.x + box.width - 3, box.y + 3, { steps: 5 });
      await page.mouse.up();
      await until('it was dragged', async () => (await limit.getAttribute('aria-valuetext')) === highest);
      await limit.press('End');
      assert.equal(await limit.getAttribute('aria-valuetext'), highest);
      await until('nothing is raised there', async () => /0 come, \d+ go, 0 move, 0 stay/.test(await main(page)));
      await limit.press('ArrowLeft');
      await page.getByRole('button', { name: 'Judge every reading' }).press('Enter');
      await until('every reading was judged', async () => /[1-9]\d* scans were judged by the rules in force[\s\S]*0 come, \d+ go/.test(await main(page)), 90_000, () => main(page));
      await page.getByLabel('Your code').fill('N-4');
      await page.keyboard.press('Enter');
      await page.getByLabel('Why').fill('too many while walking');
      await page.keyboard.press('Enter');
      await until('the proposal is kept', async () => /The proposal is kept[\s\S]*at bench-1, proposed by N-4[\s\S]*Judged exactly, over [\s\S]*too many while walking[\s\S]*rules:[\s\S]*on_delay: 6h/.test(await main(page)));
      // What is kept can be judged again, over any stretch.
      await page.getByLabel('Stretch').selectOption('86400');
      await page.getByRole('button', { name: 'Compare with the rules in force: the last day' }).press('Enter');
      await until('the proposal was judged', async () => (await main(page)).split('scans were judged').length === 3);
      await throughWindows(page, `${artifacts}/rehearse`, { themes: ['light', 'dark'] });
      await page.reload();
      await until('it is still there', async () => /proposed by N-4/.test(await main(page)));
      assert.deepEqual(complaints, []);
    },
  },
];
