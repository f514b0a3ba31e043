import assert from 'node:assert/strict';
import { launch, open } from '../browser.mjs';
import { demo } from '../daemon.mjs';
import { live, look, plain, section, until } from '../expect.mjs';
import { startMock } from '../mock/server.mjs';
import { place } from '../mock/ward.mjs';

const HOURS = 8;

/** Moves and zooms eight hours of a wrap, and says how often the picture was drawn meanwhile. */
async function moveAndZoom(url, { later, artifacts, say }) {
  const browser = await launch();
  later(() => browser.close());
  const { page, complaints } = await open(browser, `${url}/places/bench-1`);
  await live(page);
  const it = section(page, 'Longer ago');
  const picture = it.getByRole('slider');
  await picture.scrollIntoViewIfNeeded();
  const shown = async () => plain(await it.locator('p.soft').first().innerText());
  await until('eight hours are drawn', async () => (await look(page, '[role=slider] canvas')).colours > 3);
  await page.screenshot({ path: `${artifacts}/past-eight-hours.png` });

  // Frames, and those of them in which the picture was drawn anew.
  const box = await picture.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  const rates = {};
  /** Gives the picture an event with every frame for some seconds, as a hand's device would; null for none. */
  const during = async (name, kind) => {
    const { gaps, drawn } = await page.evaluate(([of, at, ms]) => new Promise((done) => {
      const slider = document.querySelector('[role=slider]');
      const canvas = slider.querySelector('canvas');
      const { clearRect } = CanvasRenderingContext2D.prototype;
      const seen = { gaps: [], drawn: 0 };
      CanvasRenderingContext2D.prototype.clearRect = function (...args) {
        if (this.canvas === canvas) seen.drawn++;
        return clearRect.apply(this, args);
      };
      let [first, last] = [0, 0];
      const step = (now) => {
        if (last) seen.gaps.push(now - last);
        else first = now;
        last = now;
        const i = seen.gaps.length;
        if (now - first > ms) {
          CanvasRenderingContext2D.prototype.clearRect = clearRect;
          return done(seen);
        }
        if (of === 'pointermove') slider.dispatchEvent(new PointerEvent(of, { pointerId: 1, clientX: at[0] + 300 * Math.sin(i / 50), clientY: at[1], bubbles: true }));
        if (of === 'wheel') slider.dispatchEvent(new WheelEvent(of, { ctrlKey: true, deltaY: i % 120 < 60 ? -8 : 8, clientX: at[0], clientY: at[1], bubbles: true, cancelable: true }));
        return requestAnimationFrame(step);
      };
      requestAnimationFrame(step);
    }), [kind, [x, y], kind ? 2500 : 1000]);
    rates[name] = (1000 * drawn) / gaps.reduce((a, g) => a + g);
    gaps.sort((a, b) => a - b);
    say(`${name}: drawn ${rates[name].toFixed(0)} times a second; a frame ${gaps[gaps.length >> 1].toFixed(0)} ms in the middle, ${gaps[Math.floor(0.95 * gaps.length)].toFixed(0)} ms for 95 of 100, ${await shown()}`);
  };
  await during('at rest', null);
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 40, y);
  await during('moved', 'pointermove');
  await page.mouse.up();
  await during('zoomed', 'wheel');
  await page.screenshot({ path: `${artifacts}/past-zoomed.png` });
  for (const name of ['moved', 'zoomed']) assert.ok(rates[name] >= 30, `${name}: ${rates[name].toFixed(1)} times a second`);

  // What was read for eight hours is read anew, and finer, for a minute of them.
  await it.getByRole('button', { name: 'Closer' }).focus();
  for (let i = 0; i < 10; i++) await page.keyboard.press('Enter');
  await until('it is read finer', async () => !/Reading/.test(await shown()));
  await picture.focus();
  for (let i = 0; i < 4; i++) await page.keyboard.press('-');
  await page.keyboard.press('PageUp');
  // At a hundred times the speed, a record has seconds of which nothing came.
  await until('and an instant is told', async () => {
    await page.keyboard.press('ArrowLeft');
    await until('that has been read', async () => !/Reading/.test(await shown()));
    return /ankle \d+/.test(plain(await picture.getAttribute('aria-valuetext')));
  });
  assert.deepEqual(complaints, []);
}

export default [
  {
    name: 'past: eight hours of a wrap follow the finger at 30 frames a second, moved and zoomed',
    alone: true,
    async tell(scene) {
      const mock = await startMock([place('bench-1', 'wrap', { sites: 2, hours: 2 * HOURS })]);
      scene.later(() => mock.stop());
      await moveAndZoom(mock.url, scene);
    },
  },
  {
    name: 'past: the same with eight hours of a record that a daemon has written',
    long: true,
    async tell(scene) {
      const ward = await demo(scene.binary, '--speed', '100');
      scene.later(() => ward.stop());
      await new Promise((go) => setTimeout(go, (HOURS * 3600 * 1000) / 100));
      await moveAndZoom(ward.url, scene);
    },
  },
];
