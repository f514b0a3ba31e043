import { afterEach, expect, it, vi } from 'vitest';

afterEach(() => vi.useRealTimers());

it('what is read comes three at a time where that is quick, and one at a time where it is not', async () => {
  vi.useFakeTimers();
  const { inTurn, slow } = await import('./history');
  let [running, most, ended] = [0, 0, 0];
  const read = (ms: number) =>
    inTurn(async () => {
      most = Math.max(most, ++running);
      await new Promise((go) => setTimeout(go, ms));
      running--;
      ended++;
    });
  const all = async (n: number, ms: number) => {
    [most, ended] = [0, 0];
    for (let i = 0; i < n; i++) void read(ms);
    await vi.advanceTimersByTimeAsync(n * ms);
    expect(ended).toBe(n);
    return most;
  };
  expect(slow()).toBe(false);
  expect(await all(1, 20)).toBe(1); // nothing is known of the link
  expect(await all(9, 20)).toBe(3);
  await all(3, 800);
  expect(slow()).toBe(true);
  expect(await all(9, 800)).toBe(1);
  await all(1, 20);
  expect(await all(9, 20)).toBe(3);
});
