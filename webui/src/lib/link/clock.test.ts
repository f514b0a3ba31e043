import { expect, it } from 'vitest';
import { ServerClock } from './clock';

it('knows nothing before the server has spoken', () => {
  const clock = new ServerClock();
  expect(clock.known).toBe(false);
  expect(clock.now(500)).toBeNaN();
});

it('runs on at the speed of the server', () => {
  const clock = new ServerClock();
  clock.start(1_000_000, 60, 200);
  expect(clock.now(1200)).toBe(1_060_000);
});

it('believes a beat that is ahead, and mostly doubts one that is behind', () => {
  const clock = new ServerClock();
  clock.start(1_000_000, 1, 0);
  clock.beat(1_001_050, 1000);
  expect(clock.now(1000)).toBe(1_001_050);
  expect(clock.lag).toBe(0);
  clock.beat(1_001_050, 5000); // four seconds on its way
  expect(clock.lag).toBe(4000);
  expect(clock.now(5000)).toBe(1_005_010);
});

it('comes round to a server whose clock runs a little slower', () => {
  const clock = new ServerClock();
  clock.start(0, 1, 0);
  for (let s = 1; s <= 3600; s++) clock.beat(s * 999.9, s * 1000); // 100 ppm
  expect(clock.lag).toBeLessThan(15);
});

it('takes nonsense for speed as one', () => {
  const clock = new ServerClock();
  clock.start(0, 0, 0);
  expect(clock.speed).toBe(1);
  clock.start(0, NaN, 0);
  expect(clock.now(10)).toBe(10);
});
