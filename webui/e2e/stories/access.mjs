import assert from 'node:assert/strict';
import { open } from '../browser.mjs';
import { PATHS, cutChoices, live, overflow, reads, torn, unreadable, until, violations } from '../expect.mjs';

/** Ways to look at a page, in one window after another. */
const LOOKS = {
  light: { theme: 'light' },
  dark: { theme: 'dark' },
  360: { theme: 'light', width: 360, height: 780 },
  // A window of 1280 by 900 at 200 %, WCAG 2.2 criterion 1.4.4.
  200: { theme: 'light', width: 640, height: 450 },
};

/** Scrolls through a page so that every canvas has been in view once. */
async function throughOnce(page) {
  const last = await page.evaluate(() => Math.max(0, ...[...document.querySelectorAll('canvas')].map((c) => c.getBoundingClientRect().bottom)));
  for (let y = 0; y < last; y += 600) {
    await page.evaluate((to) => scrollTo(0, to), y);
    await page.waitForTimeout(120);
  }
  await page.evaluate(() => scrollTo(0, 0));
  await page.waitForTimeout(150);
}

/** Looks at a page in one way, and takes its picture. */
async function lookAt(page, name, look, artifacts) {
  const { theme, width = 1280, height = 900 } = LOOKS[look];
  await page.emulateMedia({ colorScheme: theme });
  await page.setViewportSize({ width, height });
  await page.waitForTimeout(200);
  // A theme changes nothing but colours.
  if (look !== '200') assert.deepEqual(await violations(page, { colours: look === 'dark' }), [], `${name} ${look}`);
  assert.equal(await overflow(page), 0, `${name} ${look}`);
  assert.deepEqual(await unreadable(page), [], `${name} ${look}`);
  // Codes of those whom other stories put there may be anywhere; our own text has none that breaks.
  if (name !== 'figures') assert.deepEqual(await torn(page, { codes: ['handbook', 'notes'].includes(name) }), [], `${name} ${look}: numbers and units`);
  await throughOnce(page);
  await page.screenshot({ path: `${artifacts}/${name}-${look}.png`, fullPage: true });
  if (look === '360') {
    assert.deepEqual(await cutChoices(page), [], `${name} 360: what can be chosen is read whole`);
    // The same window at 400 %, criterion 1.4.10.
    await page.setViewportSize({ width: 320, height: 700 });
    await page.waitForTimeout(200);
    assert.equal(await overflow(page), 0, `${name} at 320 px`);
    assert.deepEqual(await unreadable(page), [], `${name} at 320 px`);
  } else if (name === 'round') {
    await page.setViewportSize({ width: 1920, height: 1080 });
    await page.waitForTimeout(200);
    assert.deepEqual(await torn(page), [], 'round, wide: numbers and units');
  }
}

/** Looks at some pages in some ways, each page first in another one. */
async function walk({ ward, browser, later, artifacts }, pages, looks, zoom) {
  const { page, context, complaints } = await open(browser, ward, { zoom });
  later(() => context.close());
  let asked = {};
  page.on('request', (r) => {
    const { pathname } = new URL(r.url());
    if (pathname.startsWith('/api/')) asked[pathname] = (asked[pathname] ?? 0) + 1;
  });
  for (const [i, [name, path]] of pages.entries()) {
    const order = looks.map((_, k) => looks[(i + k) % looks.length]);
    const { theme, width = 1280, height = 900 } = LOOKS[order[0]];
    await page.emulateMedia({ colorScheme: theme });
    await page.setViewportSize({ width, height });
    const began = Date.now();
    asked = {};
    await page.goto(ward + path);
    await live(page);
    // What it reads at its beginning has come, or would have by now.
    await page.waitForLoadState('networkidle', { timeout: 1200 }).catch(() => undefined);
    for (const look of order) await lookAt(page, name, look, artifacts);
    // The readings of a source are asked for five times a second, and nothing more often.
    for (const [what, n] of Object.entries(asked)) assert.ok(n <= 10 + (6 * (Date.now() - began)) / 1000, `${name} asks ${n} times for ${what}`);
    assert.deepEqual(complaints, [], name);
  }
  await context.close();
}

export default [
  {
    name: 'access: every page, light, dark, on a phone and at 200 %: axe finds nothing, nothing scrolls sideways, is cut or lies on something else, and a picture',
    takes: 80,
    async tell(scene) {
      const { ward, browser, later } = scene;
      // Beside each other, as much of it is waiting.
      const pages = Object.entries(PATHS);
      const half = Math.ceil(pages.length / 2);
      const walks = await Promise.allSettled([
        walk(scene, pages.slice(0, half), ['light', 'dark', '360'], 1),
        walk(scene, pages.slice(half), ['light', 'dark', '360'], 1),
        walk(scene, pages, ['200'], 2),
      ]);
      for (const { reason } of walks) if (reason) throw reason;
      const { page, context } = await open(browser, ward, { read: false });
      later(() => context.close());
      await page.locator('dialog[open]').waitFor();
      assert.deepEqual(await violations(page), []);
    },
  },
  {
    name: 'access: the handbook has every figure with its source, and all of them opened can be read on a phone',
    async tell({ ward, browser, later, artifacts }) {
      const { page, context, complaints } = await open(browser, ward + PATHS.handbook);
      later(() => context.close());
      await live(page);
      await page.locator('article details summary').first().waitFor();
      await page.evaluate(() => document.querySelectorAll('article details').forEach((d) => (d.open = true)));
      const row = page.locator('tr', { hasText: 'rules.relief.lasting' });
      await reads(() => row.innerText(), /15 ?s[\s\S]*published: Sonenblum/);
      await reads(() => page.locator('tr', { hasText: 'rules.exposure.share' }).innerText(), /ours: /);
      await until('all are there', async () => (await page.locator('article details tbody tr').count()) > 300);
      for (const look of ['light', 'dark', '360']) await lookAt(page, 'figures', look, artifacts);
      assert.deepEqual(complaints, []);
    },
  },
  {
    name: 'access: everything can be reached and done by keyboard, and one sees where one is',
    async tell({ ward, browser, later }) {
      const { page, context } = await open(browser, ward);
      later(() => context.close());
      await live(page);
      await page.keyboard.press('Tab');
      assert.ok(await page.evaluate(() => document.activeElement.matches('a.skip')), 'the skip link comes first');
      const seen = [];
      for (let i = 0; i < 16; i++) {
        seen.push(await page.evaluate(() => {
          const e = document.activeElement;
          return `${e.tagName} ${e.textContent.trim()} ${getComputedStyle(e).outlineStyle}`;
        }));
        await page.keyboard.press('Tab');
      }
      assert.ok(seen.every((s) => !s.endsWith(' none')), `without a visible focus: ${seen.filter((s) => s.endsWith(' none'))}`);
      for (const name of ['Alerts', 'by urgency', 'bed-1']) assert.ok(seen.some((s) => s.includes(name)), `${name} is not among ${seen.join(' | ')}`);
      await page.getByRole('button', { name: 'by urgency' }).focus();
      await page.keyboard.press('Enter');
      await until('they are by urgency', async () => (await page.getByRole('button', { name: 'by urgency' }).getAttribute('aria-pressed')) === 'true');
    },
  },
  {
    name: 'access: with reduced motion, traces move once a second',
    async tell({ ward, browser, later, say }) {
      const rates = {};
      await Promise.all(['no-preference', 'reduce'].map(async (reducedMotion) => {
        const { page, context } = await open(browser, ward + PATHS.wrap, { reducedMotion });
        later(() => context.close());
        await live(page);
        await page.locator('[aria-labelledby="lanes-title"] canvas').scrollIntoViewIfNeeded();
        await page.waitForTimeout(1500);
        rates[reducedMotion] = await page.evaluate(async () => {
          let draws = 0;
          const { drawImage } = CanvasRenderingContext2D.prototype;
          CanvasRenderingContext2D.prototype.drawImage = function (...args) {
            draws++;
            return drawImage.apply(this, args);
          };
          await new Promise((go) => setTimeout(go, 3000));
          return draws / 3;
        });
        await context.close();
      }));
      say(`steps a second: ${rates['no-preference']} and ${rates.reduce}`);
      assert.ok(rates.reduce <= 1.5 && rates['no-preference'] > 2 * rates.reduce);
    },
  },
  {
    name: 'access: the theme follows the device and can be chosen',
    async tell({ ward, browser, later }) {
      const { page, context } = await open(browser, ward, { theme: 'dark' });
      later(() => context.close());
      await live(page);
      const ground = () => page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);
      const dark = await ground();
      await page.getByText('Display', { exact: true }).click();
      await page.getByLabel('Theme').selectOption('light');
      const light = await ground();
      assert.notEqual(light, dark);
      await page.reload();
      await live(page);
      await until('the choice is kept', async () => (await ground()) === light);
    },
  },
];
