// Raw readings of one source, asked for five times a second while somebody
// looks at them. The daemon keeps them for no longer than that.

import type { Raw } from './equipment';
import { getJSON } from './history';

const EVERY = 200;
const AFTER_FAILURE = 2000;

const rest = (ms: number) => new Promise<void>((go) => setTimeout(go, ms));

/** Asks until the returned function is called, one request at a time, and not while the page is hidden. */
export function watchRaw(source: string, take: (raw: Raw) => void, fail: () => void): () => void {
  const path = `/api/v1/bridges/${source.split('/').map(encodeURIComponent).join('/sources/')}/raw`;
  let stopped = false;
  void (async () => {
    while (!stopped) {
      const began = performance.now();
      let pause = EVERY;
      if (document.visibilityState === 'visible') {
        try {
          const raw = await getJSON<Raw>(path);
          if (!stopped) take(raw);
        } catch {
          if (!stopped) fail();
          pause = AFTER_FAILURE;
        }
      }
      await rest(Math.max(20, pause - (performance.now() - began)));
    }
  })();
  return () => (stopped = true);
}
