// Has a proposal judged when a hand has come to rest; only the latest answer counts.

import type { Piece } from './piece';

/** How long a hand rests before it is asked, in ms. */
const REST = 250;

export class Judging {
  piece = $state.raw<Piece | null>(null);
  /** Why there is no answer, in words. */
  wrong = $state('');
  #asked = 0;

  /** Asks, or forgets the piece with null. Gives what calls it off, for an effect to return. */
  ask(how: (() => Promise<Piece>) | null): () => void {
    const mine = ++this.#asked;
    const put = (piece: Piece | null, wrong: string) => {
      if (mine === this.#asked) [this.piece, this.wrong] = [piece, wrong];
    };
    if (!how) {
      put(null, '');
      return () => {};
    }
    const soon = setTimeout(() => how().then((p) => put(p, ''), (problem: Error) => put(null, problem.message)), REST);
    return () => clearTimeout(soon);
  }
}
