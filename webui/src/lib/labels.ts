// Where figures stand that belong to moving marks.

/** By how much a text that is centred at `at` and so `wide` is moved aside to lie between two edges; where it does not fit, it ends at the right one. */
export function aside(at: number, wide: number, left: number, right: number): number {
  const half = wide / 2;
  return Math.min(Math.max(0, left + half - at), right - half - at);
}

const widths = new Map<string, number>();

/**
 * How wide a text is drawn, in px. Digits are all as wide as each other, so that of figures
 * which differ by them alone one has to be measured, which costs the drawing a layout.
 */
export function measured(text: SVGTextContentElement): number {
  const shape = (text.textContent ?? '').replace(/\d/g, '0');
  let wide = widths.get(shape);
  if (wide === undefined) widths.set(shape, (wide = text.getComputedTextLength()));
  return wide;
}
