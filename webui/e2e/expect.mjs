// The few ways in which stories look at a page.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** Waits until fn gives something true, and gives it back; if it never does, `seen` tells what there is instead. */
export async function until(what, fn, timeout = 30_000, seen = () => '') {
  const end = Date.now() + timeout;
  for (;;) {
    const value = await fn();
    if (value) return value;
    if (Date.now() > end) assert.fail(`after ${timeout / 1000} s still not so: ${what} ${await seen()}`);
    await new Promise((go) => setTimeout(go, 50));
  }
}

/** Says that what is read somewhere is of a form: now, or soon, as it may be on its way to the page. */
export async function reads(read, form) {
  let text;
  await until(`it reads ${form}`, async () => form.test((text = await read())), 10_000, () => text);
}

/** How many different colours a canvas shows, and a sum that changes with any pixel. */
export function look(page, selector) {
  return page.evaluate((s) => {
    const canvas = document.querySelector(s);
    if (!canvas?.width) return { colours: 0, sum: 0 };
    const words = new Uint32Array(canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.buffer);
    let sum = 0;
    for (const w of words) sum = (Math.imul(sum, 31) + w) | 0;
    return { colours: new Set(words).size, sum };
  }, selector);
}

/** Sideways scroll in CSS pixels, 0 where the page fits. */
export function overflow(page) {
  return page.evaluate(() => Math.max(0, document.documentElement.scrollWidth - document.documentElement.clientWidth));
}

/** Turns the window that there is into a light one, a dark one, or that of a phone. */
export async function show(page, look) {
  await page.emulateMedia({ colorScheme: look === 'dark' ? 'dark' : 'light' });
  await page.setViewportSize(look === '360' ? { width: 360, height: 780 } : { width: 1280, height: 900 });
}

/** Looks at a page, or at a part of it, through a wide and a narrow window: nothing stands out at the side, and it can be used by everybody. */
export async function throughWindows(page, picture, { of = page, themes = ['light'] } = {}) {
  for (const theme of themes) {
    await page.emulateMedia({ colorScheme: theme });
    for (const width of [1280, 360]) {
      await page.setViewportSize({ width, height: 800 });
      assert.equal(await overflow(page), 0, `${theme} ${width}`);
      assert.deepEqual(await violations(page), [], `${theme} ${width}`);
      await of.screenshot({ path: `${picture}-${theme}-${width}.png`, ...(of === page && { fullPage: true }) });
    }
  }
}

export const PATHS = { round: '/', bed: '/places/bed-2', seat: '/places/seat-1', wrap: '/places/bench-1', alerts: '/alerts', records: '/records', bench: '/bench', rehearse: '/rehearse', calibrate: '/calibrate', setup: '/setup', source: '/setup/hub-1/mat2', leg: '/setup/trolley/leg1', notes: '/notes', handbook: '/handbook' };

/** Waits until a page shows the present. */
export function live(page) {
  return page.waitForSelector('.clock[data-phase="live"]', { timeout: 20_000 });
}

/** The part of a page under a heading. */
export function section(page, title) {
  return page.locator('section', { has: page.getByRole('heading', { name: title, exact: true }) });
}

/** Where a line of the page ends between a number and what belongs to it, "for 15 | s of", or, where asked for, within a code, "N- | 4". Digits of a sum of hexadecimal ones are none. */
export function torn(page, { codes = false } = {}) {
  return page.evaluate((codes) => {
    const found = [];
    const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode()); ) {
      const text = node.data;
      const whole = document.createRange();
      whole.selectNodeContents(node);
      // Text on one line ends no line within itself.
      if (whole.getClientRects().length < 2) continue;
      let last = null;
      for (let i = 0; i < text.length; i++) {
        if (/\s/.test(text[i])) continue;
        const range = document.createRange();
        range.setStart(node, i);
        range.setEnd(node, i + 1);
        const { bottom, height } = range.getBoundingClientRect();
        if (height === 0) continue;
        if (last && bottom - last.bottom > height / 2) {
          const [before, after] = [text.slice(0, last.i + 1), text.slice(i)];
          if (/±$/.test(before) || (/(?:^|\W)\d[\d.,]*$/.test(before) && /^(±|mmHg|%|(s|min|h|d|cm|cm²)(?![a-z]))/.test(after)) || (codes && /(?:^|[\s(:])[A-Za-z]{1,8}-$/.test(before) && /^\d/.test(after))) found.push(`${before.slice(-20)} | ${after.slice(0, 20)}`);
        }
        last = { bottom, i };
      }
    }
    return found;
  }, codes);
}

/** Text with ordinary blanks, and without what only keeps lines whole. */
export function plain(text) {
  return text.replaceAll('\u00a0', ' ').replaceAll('\u2060', '');
}

/** What axe has against a page, WCAG 2.2 AA and best practice, or against its colours alone. */
export async function violations(page, { colours = false } = {}) {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axe);
  const runOnly = colours ? { type: 'rule', values: ['color-contrast', 'link-in-text-block'] } : { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] };
  const found = await page.evaluate((only) => window.axe.run(document, { resultTypes: ['violations'], runOnly: only }), runOnly);
  return found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(' ')).join('; ')}`);
}

/** Says that the pages of a PDF are of A4, ISO 216: 210 mm by 297 mm. */
export function isA4(pdf, what) {
  const [, width, height] = /\/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf.toString('latin1')) ?? [];
  assert.ok(Math.abs(width - 595.28) < 1 && Math.abs(height - 841.89) < 1, `${what}: a page is ${width} by ${height} points, A4 is 595 by 842`);
}

/** What is chosen in a select and does not fit into it. */
export function cutChoices(page) {
  return page.evaluate(() => {
    const pen = document.createElement('canvas').getContext('2d');
    return [...document.querySelectorAll('main select')].filter((s) => s.checkVisibility()).flatMap((s) => {
      const { font, paddingLeft, paddingRight } = getComputedStyle(s);
      pen.font = font;
      const arrow = 16; // of Chromium, within what is clientWidth
      const widest = [...s.options].map((o) => o.text).filter((t) => pen.measureText(t).width + parseFloat(paddingLeft) + parseFloat(paddingRight) + arrow > s.clientWidth + 1);
      return widest.map((t) => `${t}: ${s.clientWidth}`);
    });
  });
}

/** Text that is cut off by what holds it, or lies on other text: "what: text". */
export function unreadable(page) {
  return page.evaluate(() => {
    const lines = [];
    const found = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode()); ) {
      const holder = node.parentElement;
      if (!node.data.trim() || !holder.checkVisibility({ visibilityProperty: true, opacityProperty: true }) || holder.closest('.unseen, .skip, option, select, script, style')) continue;
      const range = document.createRange();
      range.selectNodeContents(node);
      const text = node.data.trim().slice(0, 40);
      // What holds it and does not scroll.
      let [left, right, top, bottom] = [0, innerWidth, -Infinity, Infinity];
      let scrolls = false;
      for (let e = holder; e && !scrolls; e = e.parentElement) {
        const { overflowX, overflowY } = getComputedStyle(e);
        if (e.tagName === 'svg' || overflowX === 'visible') continue;
        if (/auto|scroll/.test(overflowX + overflowY)) scrolls = true;
        const box = e.getBoundingClientRect();
        [left, right, top, bottom] = [Math.max(left, box.left), Math.min(right, box.right), Math.max(top, box.top), Math.min(bottom, box.bottom)];
      }
      for (const r of range.getClientRects()) {
        if (r.width < 2 || r.height < 2) continue;
        if (!scrolls && (r.left < left - 1 || r.right > right + 1 || r.top < top - r.height / 3 || r.bottom > bottom + r.height / 3)) found.add(`cut: ${text}`);
        if (!scrolls) lines.push({ text, holder, left: r.left, right: r.right, top: r.top + r.height / 6, bottom: r.bottom - r.height / 6 });
      }
    }
    lines.sort((a, b) => a.top - b.top);
    lines.forEach((a, i) => {
      for (let k = i + 1; k < lines.length && lines[k].top < a.bottom - 2; k++) {
        const b = lines[k];
        if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2 && Math.min(a.bottom, b.bottom) - b.top > 2) found.add(`on each other: ${a.text} | ${b.text}`);
      }
    });
    return [...found];
  });
}
