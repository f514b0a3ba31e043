// Has a proposal judged when a hand has come to rest; only the latest answer counts.

import { reading } from './link/reading';
import type { Piece } from './piece';

/** How long a hand rests before it is asked, in ms. */
const REST = 250;
/** For how long after that the piece of before may stand, so that nothing flickers; it is not what is drawn now. */
const LATE = 750;

export class Judging {
  piece = $state.raw<Piece | null>(null);
  /** Why there is no answer, in words. */
  wrong = $state('');
  /** The answer is late. */
  waits = $state(false);

  /** Asks, or forgets the piece with null. Gives what calls it off, for an effect to return. */
  ask(how: (() => Promise<Piece>) | null): () => void {
    let late: ReturnType<typeof setTimeout> | undefined;
    const put = (piece: Piece | null, wrong: string, waits = false) => {
      clearTimeout(late);
      [this.piece, this.wrong, this.waits] = [piece, wrong, waits];
    };
    if (!how) {
      put(null, '');
      return () => {};
    }
    late = setTimeout(() => put(null, '', true), REST + LATE);
    const stop = reading(how, (p) => put(p, ''), (problem) => put(null, (problem as Error).message), undefined, REST);
    return () => {
      clearTimeout(late);
      stop();
    };
  }
}
