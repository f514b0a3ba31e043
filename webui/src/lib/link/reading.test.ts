import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import { reading } from './reading';

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

const status = (cause: number) => new Error('refused', { cause });

// Else a page stays empty until somebody thinks of loading it anew.
it('reads again what did not come, and says that it did not', async () => {
  const read = vi.fn().mockRejectedValueOnce(new TypeError('no link')).mockRejectedValueOnce(status(502)).mockResolvedValue('there');
  const [take, fail] = [vi.fn(), vi.fn()];
  reading(read, take, fail);
  await vi.advanceTimersByTimeAsync(60_000);
  expect([read.mock.calls.length, fail.mock.calls.length, take.mock.calls]).toEqual([3, 2, [['there']]]);
});

it.each([403, 404, 503])('does not ask again what is answered with %i', async (code) => {
  const read = vi.fn().mockRejectedValue(status(code));
  reading(read, () => {});
  await vi.advanceTimersByTimeAsync(60_000);
  expect(read).toHaveBeenCalledTimes(1);
});

// Over a link of 3 s a question every 300 ms would be ten at once, whose answers overtake each other.
it('asks one question at a time, and hands nothing over after its end', async () => {
  const answers: ((n: number) => void)[] = [];
  const take = vi.fn();
  const stop = reading(() => new Promise<number>((go) => answers.push(go)), take, undefined, () => 300);
  await vi.advanceTimersByTimeAsync(3000);
  expect(answers.length).toBe(1);
  answers[0]!(1);
  await vi.advanceTimersByTimeAsync(300);
  expect(answers.length).toBe(2);
  stop();
  answers[1]!(2);
  await vi.advanceTimersByTimeAsync(3000);
  expect([answers.length, take.mock.calls]).toEqual([2, [[1]]]);
});

// Of a hand that moves on before it has come to rest nothing is asked.
it('asks after a while, if it is not called off before', async () => {
  const read = vi.fn().mockResolvedValue('there');
  const take = vi.fn();
  reading(read, () => {}, undefined, undefined, 200)();
  reading(read, take, undefined, undefined, 200);
  await vi.advanceTimersByTimeAsync(199);
  expect(read).not.toHaveBeenCalled();
  await vi.advanceTimersByTimeAsync(60_000);
  expect([read.mock.calls.length, take.mock.calls]).toEqual([1, [['there']]]);
});
