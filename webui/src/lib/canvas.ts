// What canvases share: size in whole device pixels, colours of the theme, and
// the hatching that says "nothing is known here".

/** Fits a canvas to its box in whole device pixels; true where that changed it, and so cleared it. */
export function fit(canvas: HTMLCanvasElement): boolean {
  const dpr = devicePixelRatio || 1;
  const width = Math.max(1, Math.round(canvas.clientWidth * dpr));
  const height = Math.max(1, Math.round(canvas.clientHeight * dpr));
  if (canvas.width === width && canvas.height === height) return false;
  canvas.width = width;
  canvas.height = height;
  return true;
}

const inks = new Map<string, string>();

/** A colour of the theme, such as ink('--soft'). Asking the style sheet is too dear for every frame. */
export function ink(name: string): string {
  const key = `${name} ${document.documentElement.dataset.theme}`;
  let colour = inks.get(key);
  if (colour === undefined) {
    colour = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
    inks.set(key, colour);
  }
  return colour;
}

const hatches = new Map<string, CanvasPattern | null>();

/** Diagonal hatching in a colour, `gap` device pixels apart. */
export function hatch(ctx: CanvasRenderingContext2D, colour: string, gap: number): CanvasPattern | string {
  const key = `${colour} ${gap}`;
  let pattern = hatches.get(key);
  if (pattern === undefined) {
    const tile = document.createElement('canvas');
    tile.width = tile.height = gap;
    const t = tile.getContext('2d');
    if (t) {
      t.strokeStyle = colour;
      t.lineWidth = Math.max(1, gap / 6);
      t.beginPath();
      for (const shift of [-gap, 0, gap]) {
        t.moveTo(shift, gap);
        t.lineTo(shift + gap, 0);
      }
      t.stroke();
    }
    pattern = t ? ctx.createPattern(tile, 'repeat') : null;
    hatches.set(key, pattern);
  }
  return pattern ?? colour;
}
