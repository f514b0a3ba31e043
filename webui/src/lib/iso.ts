// Marching squares: the line along which a field of cells has one value, as
// loose segments between cell centres. Squares with an unknown corner have no
// line. Outside the grid everything counts as below, so lines close there.

/**
 * Writes segments x0, y0, x1, y1 into out and returns how many numbers were
 * written. Coordinates are in cells, the centre of the first cell at 0.5, 0.5.
 * What does not fit into out is left away; 16 numbers a cell always fit.
 */
export function isoLine(cells: ArrayLike<number>, rows: number, columns: number, level: number, out: Float32Array): number {
  let n = 0;
  const at = (r: number, c: number) => (r < 0 || c < 0 || r >= rows || c >= columns ? Outside : cells[r * columns + c]!);
  for (let r = -1; r < rows; r++) {
    for (let c = -1; c < columns; c++) {
      const a = at(r, c);
      const b = at(r, c + 1);
      const d = at(r + 1, c + 1);
      const e = at(r + 1, c);
      if (Number.isNaN(a + b + d + e)) continue;
      const kind = (a > level ? 1 : 0) | (b > level ? 2 : 0) | (d > level ? 4 : 0) | (e > level ? 8 : 0);
      if (kind === 0 || kind === 15) continue;
      // Where the line crosses the top, right, bottom and left of the square.
      const x = c + 0.5;
      const y = r + 0.5;
      const top = () => put(x + cross(a, b, level), y);
      const right = () => put(x + 1, y + cross(b, d, level));
      const bottom = () => put(x + cross(e, d, level), y + 1);
      const left = () => put(x, y + cross(a, e, level));
      const put = (px: number, py: number) => {
        if (n < out.length) out[n++] = Math.min(columns, Math.max(0, px));
        if (n < out.length) out[n++] = Math.min(rows, Math.max(0, py));
      };
      switch (kind) {
        case 1: case 14: left(); top(); break;
        case 2: case 13: top(); right(); break;
        case 4: case 11: right(); bottom(); break;
        case 8: case 7: bottom(); left(); break;
        case 3: case 12: left(); right(); break;
        case 6: case 9: top(); bottom(); break;
        case 5: case 10: {
          // A saddle: the middle decides which corners belong together.
          const joined = (a + b + d + e) / 4 > level;
          if ((kind === 5) === joined) {
            left(); bottom(); top(); right();
          } else {
            left(); top(); right(); bottom();
          }
        }
      }
    }
  }
  return n - (n % 4);
}

const Outside = -Infinity;

function cross(from: number, to: number, level: number): number {
  // Towards the outside the line runs along the edge of the last cell.
  if (from === Outside || to === Outside) return 0.5;
  return (level - from) / (to - from);
}
