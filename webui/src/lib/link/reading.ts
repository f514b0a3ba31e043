// Reading what a page shows, over a link on which an answer may be late or not come at all.

/** How long after a reading that failed it is tried again, in ms. */
const AGAIN = 5000;

/**
 * Reads after `wait` ms, as when a hand must come to rest, one question at a time, and hands over what came; then again after `every` ms, if that is finite.
 * What failed is told, and read again until it has come; what the daemon refuses, or has no record for,
 * it would refuse again. For an effect to return: what comes after the end is an answer to what was asked for before, and is let go.
 */
export function reading<T>(read: () => Promise<T>, take: (what: T) => void, fail: (problem: unknown) => void = () => {}, every: () => number = () => Infinity, wait = 0): () => void {
  let over = false;
  let next: ReturnType<typeof setTimeout> | undefined;
  const rest = (ms: number) => {
    if (ms < Infinity && !over) next = setTimeout(go, ms);
  };
  const go = (): void =>
    void read().then(
      (what) => {
        if (over) return;
        take(what);
        rest(every());
      },
      (problem) => {
        if (over) return;
        fail(problem);
        const { cause } = problem as Error;
        rest(typeof cause === 'number' && (cause < 500 || cause === 503) ? Infinity : AGAIN);
      },
    );
  if (wait > 0) rest(wait);
  else go(); // at once, so that an effect sees what it reads
  return () => {
    over = true;
    clearTimeout(next);
  };
}
