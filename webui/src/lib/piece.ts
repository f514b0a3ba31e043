// Pieces of the configuration that a page proposes, as the daemon judges them.

/** Text for the file, and what is wrong with it there. */
export interface Piece {
  yaml: string;
  faults: { of: 'piece' | 'file'; line: number; column: number; text: string }[];
  caution: string;
}
