import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { Doing } from './doing.svelte';

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

it('does once what is asked for twice before its answer, and once more after it', async () => {
  const doing = new Doing();
  let answer = () => {};
  const what = vi.fn(() => new Promise<void>((go) => (answer = go)));
  const first = doing.once(what, 'turned');
  await doing.once(what, 'turned');
  expect(what).toHaveBeenCalledTimes(1);
  void doing.once(vi.fn(), 'skin checked'); // which is another deed
  answer();
  await first;
  void doing.once(what, 'turned');
  expect(what).toHaveBeenCalledTimes(2);
});

// Nobody looks twice at an answer that is there within a second (common practice, no source).
it('says after a second that an answer is awaited, and no longer than until it is there or fails', async () => {
  const doing = new Doing();
  let lose = (_: Error) => {};
  const deed = doing.once(() => new Promise((_, no) => (lose = no)));
  await vi.advanceTimersByTimeAsync(900);
  expect(doing.long).toBe(false);
  await vi.advanceTimersByTimeAsync(200);
  expect(doing.long).toBe(true);
  lose(new Error('no link'));
  await expect(deed).rejects.toThrow('no link');
  expect(doing.long).toBe(false);
});
