// A headless browser for the stories, and what each page of it must not do:
// complain, break the content policy, or ask another host for anything.

import { chromium } from 'playwright-core';

// Every new window would load two pages of the browser's own for its address line, which
// take longer than most of ours: three quarters of what a window cost. The last list that
// the browser is given counts, so what Playwright turns off stands here once more.
const OFF = [
  'WebUIOmniboxPopup', 'WebUIOmniboxAimPopup', 'WebUIOmniboxFullPopup', 'SpareRendererForSitePerProcess',
  'AvoidUnnecessaryBeforeUnloadCheckSync', 'DestroyProfileOnBrowserClose', 'HttpsUpgrades', 'HttpsFirstBalancedModeAutoEnable', 'LensOverlay', 'MediaRouter', 'PaintHolding',
  'ThirdPartyStoragePartitioning', 'AvoidCorsURLLoaderRestartOnRedirect', 'OptimizationHints', 'NetworkTimeServiceQuerying', 'AimEnabled', 'PreconnectToSearch',
];
const ARGS = ['--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', `--disable-features=${OFF}`];

let pictures = true;
let late = 0;

/** Whether pages take pictures, which are for somebody who looks at them and take long. */
export function takePictures(yes) {
  pictures = yes;
}

/** Holds every answer back, by chance, for up to so many ms: what a story reads too early it then reads wrongly. */
export function answerLate(ms) {
  late = ms;
}

export async function launch() {
  return chromium.launch({
    executablePath: process.env.WEALD_CHROMIUM ?? '/usr/bin/chromium',
    args: [...ARGS, ...(process.getuid?.() === 0 ? ['--no-sandbox'] : [])],
  });
}

/**
 * A page with its complaints collected. `read` says that the caution has been read already,
 * `trusting` that any certificate is good, `zoom` how many pixels of the device a CSS pixel is,
 * and `first` runs before anything of the page.
 */
export async function open(browser, url, { theme = 'light', width = 1280, height = 900, zoom = 1, read = true, reducedMotion = 'no-preference', locale = 'en-GB', trusting = false, first = () => {} } = {}) {
  const context = await browser.newContext({ viewport: { width, height }, deviceScaleFactor: zoom, colorScheme: theme, reducedMotion, locale, ignoreHTTPSErrors: trusting });
  await context.addInitScript(first);
  if (read) await context.addInitScript(() => localStorage.setItem('weald.caution.read', '1'));
  if (!pictures) context.on('page', (p) => (p.screenshot = async () => undefined));
  if (late > 0) await context.route('**/*', async (route) => {
    await new Promise((go) => setTimeout(go, Math.random() * late));
    await route.fallback().catch(() => undefined); // of a page that is gone
  });
  const page = await context.newPage();
  const complaints = [];
  const host = new URL(url).host;
  page.on('console', (m) => {
    // A connection that a story cuts is reported by the browser itself.
    if (m.type() === 'error' && !/WebSocket connection|Failed to load resource|ERR_/.test(m.text())) complaints.push(m.text());
  });
  page.on('pageerror', (e) => complaints.push(String(e)));
  page.on('request', (r) => {
    if (new URL(r.url()).host !== host) complaints.push(`asked another host: ${r.url()}`);
  });
  await page.addInitScript(() => {
    addEventListener('securitypolicyviolation', (e) => console.error(`content policy: ${e.violatedDirective} ${e.blockedURI}`));
  });
  await page.goto(url);
  return { page, context, complaints };
}
