// What two texts have line for line in common, and what not.

export interface Line {
  /** "same", "gone" (only in the first) or "new" (only in the second). */
  kind: 'same' | 'gone' | 'new';
  text: string;
  /** Its number in the first and the second, from 1; 0 where it is not. */
  was: number;
  is: number;
}

/** Beyond so many pairs of lines, what differs is told as replaced as a whole. */
const MOST = 4_000_000;

/** A shortest way from one text to the other, in the order of reading. */
export function differences(was: string, is: string): Line[] {
  const [a, b] = [was.split('\n'), is.split('\n')];
  let head = 0;
  while (head < a.length && head < b.length && a[head] === b[head]) head++;
  let tail = 0;
  while (tail < a.length - head && tail < b.length - head && a[a.length - 1 - tail] === b[b.length - 1 - tail]) tail++;
  const out: Line[] = [];
  const same = (i: number, j: number) => out.push({ kind: 'same', text: a[i]!, was: i + 1, is: j + 1 });
  const gone = (i: number) => out.push({ kind: 'gone', text: a[i]!, was: i + 1, is: 0 });
  const fresh = (j: number) => out.push({ kind: 'new', text: b[j]!, was: 0, is: j + 1 });
  for (let i = 0; i < head; i++) same(i, i);

  // How many lines the rests have in common, from each pair of beginnings.
  const [n, m] = [a.length - head - tail, b.length - head - tail];
  if (n * m <= MOST) {
    const common = new Uint16Array((n + 1) * (m + 1));
    for (let i = n - 1; i >= 0; i--)
      for (let j = m - 1; j >= 0; j--)
        common[i * (m + 1) + j] = a[head + i] === b[head + j] ? common[(i + 1) * (m + 1) + j + 1]! + 1 : Math.max(common[(i + 1) * (m + 1) + j]!, common[i * (m + 1) + j + 1]!);
    let [i, j] = [0, 0];
    while (i < n || j < m) {
      if (i < n && j < m && a[head + i] === b[head + j]) same(head + i++, head + j++);
      else if (i < n && (j === m || common[(i + 1) * (m + 1) + j]! >= common[i * (m + 1) + j + 1]!)) gone(head + i++);
      else fresh(head + j++);
    }
  } else {
    for (let i = 0; i < n; i++) gone(head + i);
    for (let j = 0; j < m; j++) fresh(head + j);
  }
  for (let k = tail; k > 0; k--) same(a.length - k, b.length - k);
  return out;
}

/** The lines that differ, each run of them with so many lines around it. */
export function hunks(lines: readonly Line[], around = 2): Line[][] {
  const out: Line[][] = [];
  let end = -1; // behind the last one that is shown
  lines.forEach((l, i) => {
    if (l.kind === 'same') return;
    const from = Math.max(0, i - around);
    const to = Math.min(lines.length, i + around + 1);
    if (from > end || out.length === 0) out.push(lines.slice(from, to));
    else out[out.length - 1]!.push(...lines.slice(end, to));
    end = Math.max(end, to);
  });
  return out;
}
