import { expect, test } from 'vitest';

import type { Signal } from './link/types';
import { stiffness } from './stiffness';

const of = (value: number | null, u: number | null = null): string => stiffness({ value, u, unit: 'mmHg' } as Signal);

// Lying 40 mmHg. The cut-off of 10 mmHg is that of Mosti, Mattaliano, Acta Vulnologica 2006;4(2):73-80.
test('a stiffness is named by the published cut-off', () => {
  expect(of(58 - 40)).toContain('18');
  expect(of(58 - 40)).toContain(': inelastic');
  expect(of(49 - 40)).toContain(': elastic');
  expect(of(50 - 40)).toContain('at the cut-off');
});

test('what its uncertainty leaves open is left open', () => {
  expect(of(11, 2)).toContain('at the cut-off');
  expect(of(13, 2)).toContain(': inelastic');
  expect(of(7, 2)).toContain(': elastic');
});

// Holds that two wraps whose figures read alike are named alike: 11.8 and 12.3 are both 12 ± 2.
test('what is named is what is shown', () => {
  const named = new Map<string, string>();
  for (let v = 0; v < 25; v += 0.1) {
    for (const u of [null, 0.3, 0.84, 1.4, 1.9, 2.2]) {
      const [figure, name] = of(v, u).split(': ') as [string, string];
      expect(named.get(figure) ?? name, `${v}, ${u}`).toBe(name);
      named.set(figure, name);
    }
  }
});

test('nothing is said before somebody has stood up', () => {
  expect(of(null)).toBe('');
  expect(stiffness(undefined)).toBe('');
});
