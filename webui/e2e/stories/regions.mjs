import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { live, overflow, plain, reads, show, until, violations } from '../expect.mjs';

const words = async (page, selector) => plain(await page.locator(selector).first().innerText());

/** Opens the drawing on a place's map. */
async function drawing(page) {
  await live(page);
  await page.getByRole('button', { name: 'Draw regions' }).press('Enter');
  await page.getByRole('heading', { name: 'Regions to propose' }).waitFor();
}

/**
 * Pulls with the mouse from where `from` says to a cell of the map. All is measured anew, as an
 * alert that begins above the map moves it.
 */
async function pull(page, from, row, column) {
  await page.locator('.layer').scrollIntoViewIfNeeded();
  const box = await page.locator('.layer').boundingBox();
  const [rows, columns] = await page.locator('canvas').first().evaluate((c) => c.parentElement.style.aspectRatio.split('/').map(Number).reverse());
  const at = (r, c) => [box.x + ((c + 0.5) / columns) * box.width, box.y + ((r + 0.5) / rows) * box.height];
  await page.mouse.move(...(await from(at)));
  await page.mouse.down();
  await page.mouse.move(...at(row, column), { steps: 4 });
  await page.mouse.up();
}

/** Draws with a finger over an empty map, and does not move the page with it. */
async function byFinger(page, context) {
  for (let n = await page.locator('.layer .region').count(); n > 0; n--) await page.locator('.layer .region').first().press('Delete');
  await page.locator('.layer').scrollIntoViewIfNeeded();
  const scrolled = () => page.evaluate(() => scrollY);
  // What is said of no regions is less to show, and the page comes to rest with it.
  let before;
  await until('the page rests', async () => {
    const was = before;
    before = await scrolled();
    return was === before && /No region is drawn/.test(await words(page, 'main'));
  });
  const box = await page.locator('.layer').boundingBox();
  const cdp = await context.newCDPSession(page);
  const touch = (type, ...at) => cdp.send('Input.dispatchTouchEvent', { type, touchPoints: at.length ? [{ x: at[0], y: at[1] }] : [] });
  await touch('touchStart', box.x + 40, box.y + 40);
  for (const k of [1, 2, 3, 4]) await touch('touchMove', box.x + 40 + 15 * k, box.y + 40 + 20 * k);
  const after = await scrolled();
  const to = await page.locator('.layer').boundingBox();
  await touch('touchEnd');
  await until('a finger has drawn', async () => (await page.locator('.layer .region').count()) === 1);
  // An alert that begins above the map moves one of the two: the page keeps the map in view, or the map goes down.
  assert.ok(after === before || Math.abs(to.y - box.y) < 1, `the page went from ${before} to ${after}, the map from ${box.y} to ${to.y}`);
}

/** Has the body looked for, again where the mat was silent just then. */
async function findBody(page) {
  await until('a body is found', async () => {
    await page.getByRole('button', { name: 'Find from the body' }).click();
    return until('an answer', async () => /found|silent|no /i.exec(await words(page, '.said'))?.[0] === 'found', 3000).catch(() => false);
  }, 20_000);
}

const accepted = (page) => until('it is accepted', async () => /would be accepted/.test(await words(page, '.judged')));

export default [
  {
    name: 'regions: found from the body, drawn by hand, by keys and by numbers, and judged as the file is',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, `${ward}/places/bed-2`);
      later(() => context.close());
      await drawing(page);
      await findBody(page);
      await reads(() => words(page, '.said'), /regions? found on the map of/);
      await accepted(page);
      await reads(() => words(page, 'figure pre'), /^regions:\n {2}- \{id: \w+, rows: \[\d+, \d+\], columns: \[\d+, \d+\]\}/);
      await page.screenshot({ path: `${artifacts}/regions-found.png`, fullPage: true });
      const found = await page.locator('.layer .region').count();
      assert.ok(found >= 2, `${found} regions`);

      // By hand: from one cell to another, where nothing is.
      for (let n = found; n > 0; n--) await page.locator('.layer .region').first().press('Delete');
      await reads(() => words(page, 'main'), /No region is drawn/);
      const shown = (name) => page.getByRole('button', { name }).waitFor({ timeout: 3000 }).then(() => true, () => false);
      await until('a region is drawn', async () => {
        await pull(page, (at) => at(3, 4), 6, 9);
        if (await shown('head: rows 4 to 7, columns 5 to 10')) return true;
        // The map moved under the mouse: what came of it goes, and it is drawn again.
        await page.locator('.layer .region').first().press('Delete');
        return false;
      }, 20_000);
      // By keys: moved down and to the right, and made a row taller.
      const region = page.locator('.layer .region');
      for (const k of ['ArrowDown', 'ArrowRight', 'Shift+ArrowDown']) await region.press(k);
      await page.getByRole('button', { name: 'head: rows 5 to 9, columns 6 to 11' }).waitFor();
      // By numbers, and by a corner.
      await page.getByLabel('head: Last column').fill('14');
      await page.getByRole('button', { name: 'head: rows 5 to 9, columns 6 to 14' }).waitFor();
      const corner = async () => {
        const c = await page.locator('.corner.bottom.right').boundingBox();
        return [c.x + c.width / 2, c.y + c.height / 2];
      };
      await until('a corner is pulled', async () => {
        await pull(page, corner, 10, 11);
        return shown('head: rows 5 to 11, columns 6 to 12');
      }, 20_000);
      await until('the piece follows', async () => /rows: \[4, 10\], columns: \[5, 11\]/.test(await words(page, 'figure pre')));

      // What the file would refuse is said with its place.
      await page.getByLabel('Name 1').fill('Left hip');
      await until('it is refused', async () => /piece, line 2, column 10: /.test(await words(page, '.judged')));
      await page.screenshot({ path: `${artifacts}/regions-refused.png`, fullPage: true });
      await page.getByLabel('Name 1').fill('trochanter_left');
      await page.getByRole('button', { name: 'Close without a change' }).click();
      assert.equal(await page.locator('.layer').count(), 0);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'regions: drawing in light, dark and on a phone, on a bed and on a seat',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, ward);
      later(() => context.close());
      for (const [look, id] of [['light', 'seat-1'], ['dark', 'bed-2'], ['360', 'bed-2'], ['360', 'seat-1']]) {
        await show(page, look);
        await page.goto(`${ward}/places/${id}`);
        await drawing(page);
        await page.locator('figure pre').waitFor();
        await findBody(page);
        await page.locator('.layer .region').first().focus();
        assert.deepEqual(await violations(page), [], `${id} ${look}`);
        assert.equal(await overflow(page), 0, `${id} ${look}`);
        await page.screenshot({ path: `${artifacts}/regions-${id}-${look}.png`, fullPage: true });
        if (look === '360') await byFinger(page, context);
        assert.deepEqual(complaints, []);
      }
    },
  },
];
