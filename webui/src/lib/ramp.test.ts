import { describe, expect, it } from 'vitest';
import { decode, distance, encode, labToLinear, linearToLab, type Triple } from './oklab';
import { ramp, rampLab, step, type Theme } from './ramp';

// Simulations of colour vision without one kind of cone, as linear maps of
// linear sRGB (Machado, Oliveira and Fernandes 2009, severity 1).
const SIGHT: Record<string, readonly Triple[]> = {
  normal: [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
  protan: [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
  deutan: [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.01182, 0.04294, 0.968881]],
  tritan: [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]],
};

function seen(lab: Triple, sight: readonly Triple[]): Triple {
  const rgb = labToLinear(lab);
  const out = sight.map((row) => Math.max(0, row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2]));
  return linearToLab(out as unknown as Triple);
}

function parse(css: string): Triple {
  const [r, g, b] = css.match(/\d+/g)!.map((x) => decode(Number(x) / 255));
  return linearToLab([r!, g!, b!]);
}

describe.each<Theme>(['light', 'dark'])('the %s ramp', (theme) => {
  it('can be shown: every colour is inside sRGB', () => {
    for (const lab of rampLab(theme)) {
      for (const x of labToLinear(lab)) {
        expect(encode(Math.max(0, x))).toBeLessThanOrEqual(1.001);
        expect(x).toBeGreaterThan(-0.001);
      }
    }
  });

  it.each(Object.keys(SIGHT))('has even steps and lightness that goes one way, for %s sight', (name) => {
    // 33 stops are as many as an eye could tell apart; the 256 lie between.
    const stops = rampLab(theme, 33).map((lab) => seen(lab, SIGHT[name]!));
    const steps = stops.slice(1).map((lab, i) => distance(lab, stops[i]!));
    expect(Math.max(...steps) / Math.min(...steps)).toBeLessThan(name === 'normal' ? 1.1 : 1.6);
    const way = theme === 'light' ? -1 : 1;
    for (let i = 1; i < stops.length; i++) expect((stops[i]![0] - stops[i - 1]![0]) * way).toBeGreaterThan(0.004);
  });

  it('stays even after rounding to 8 bits a channel', () => {
    const css = ramp(theme).css;
    expect(css).toHaveLength(256);
    const stops = css.filter((_, i) => i % 15 === 0).map(parse);
    const steps = stops.slice(1).map((lab, i) => distance(lab, stops[i]!));
    expect(Math.max(...steps) / Math.min(...steps)).toBeLessThan(1.25);
  });

  it('says the same in words as in CSS', () => {
    const { words, css } = ramp(theme);
    const [r, g, b] = css[200]!.match(/\d+/g)!.map(Number);
    const bytes = new Uint8Array(words.buffer, 200 * 4, 4);
    expect([...bytes]).toEqual([r, g, b, 255]);
  });
});

it('clamps shares, and puts what is not a number at the ground', () => {
  expect([-1, 0, 0.5, 1, 7, NaN].map(step)).toEqual([0, 0, 128, 255, 255, 0]);
});
