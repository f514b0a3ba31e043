// The few ways in which stories look at a page.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** Waits until fn gives something true, and gives it back. */
export async function until(what, fn, timeout = 10_000) {
  const end = Date.now() + timeout;
  for (;;) {
    const value = await fn();
    if (value) return value;
    if (Date.now() > end) assert.fail(`after ${timeout / 1000} s still not so: ${what}`);
    await new Promise((go) => setTimeout(go, 50));
  }
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

export const PATHS = { round: '/', bed: '/places/bed-2', seat: '/places/seat-1', wrap: '/places/bench-1', alerts: '/alerts', records: '/records', bench: '/bench', rehearse: '/rehearse', calibrate: '/calibrate', setup: '/setup', source: '/setup/hub-1/mat2', leg: '/setup/trolley/leg1', notes: '/notes', handbook: '/handbook' };

/** Waits until a page shows the present. */
export function live(page) {
  return page.waitForSelector('.clock[data-phase="live"]', { timeout: 10_000 });
}

/** Where a line of the page ends between a number and what belongs to it: "for 15 | s of". */
export function torn(page) {
  return page.evaluate(() => {
    const found = [];
    const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode()); ) {
      const text = node.data;
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
          if (/±$/.test(before) || (/\d$/.test(before) && /^(±|mmHg|%|(s|min|h|d|cm|cm²)(?![a-z]))/.test(after))) found.push(`${before.slice(-20)} | ${after.slice(0, 20)}`);
        }
        last = { bottom, i };
      }
    }
    return found;
  });
}

/** Text with ordinary blanks. */
export function plain(text) {
  return text.replaceAll('\u00a0', ' ');
}

/** What axe has against a page, WCAG 2.2 AA and best practice. */
export async function violations(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
  return found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(' ')).join('; ')}`);
}
