// One animation frame loop for everything that is drawn. A painter has a top
// rate and is called only while its element can be seen, so that a page that
// nobody looks at costs nothing. With reduced motion, rates fall to one a second.

interface Painter {
  /** Draws; `again` is true where all must be drawn anew. */
  paint(again: boolean): void;
  /** At most so many times a second. */
  readonly rate: number;
}

interface Entry {
  painter: Painter;
  element: Element;
  visible: boolean;
  again: boolean;
  next: number;
}

const entries = new Map<Element, Entry>();
let scheduled = false;
let observer: IntersectionObserver | undefined;
let calm: MediaQueryList | undefined;

/** Registers a painter for an element; the returned function removes it. */
export function paints(element: Element, painter: Painter): () => void {
  if (!observer) start();
  entries.set(element, { painter, element, visible: true, again: true, next: 0 });
  observer?.observe(element);
  schedule();
  return () => {
    observer?.unobserve(element);
    entries.delete(element);
  };
}

/** Asks that an element, or everything, be drawn anew at the next frame. */
export function repaint(element?: Element): void {
  for (const e of entries.values()) {
    if (element && e.element !== element) continue;
    e.again = true;
    e.next = 0;
  }
  schedule();
}

function start(): void {
  calm = globalThis.matchMedia?.('(prefers-reduced-motion: reduce)');
  if (typeof IntersectionObserver === 'function') {
    observer = new IntersectionObserver(
      (changes) => {
        for (const change of changes) {
          const e = entries.get(change.target);
          if (!e) continue;
          if (change.isIntersecting && !e.visible) e.again = true;
          e.visible = change.isIntersecting;
        }
        schedule();
      },
      { rootMargin: '100px' },
    );
  }
  globalThis.addEventListener('beforeprint', () => {
    for (const e of entries.values()) e.painter.paint(true);
  });
}

function schedule(): void {
  if (scheduled || entries.size === 0) return;
  scheduled = true;
  requestAnimationFrame(frame);
}

let timer: ReturnType<typeof setTimeout> | undefined;

function frame(now: number): void {
  scheduled = false;
  let soonest = Infinity;
  for (const e of entries.values()) {
    if (!e.visible) continue;
    if (now >= e.next) {
      const again = e.again;
      e.again = false;
      e.painter.paint(again);
      const period = 1000 / (calm?.matches ? Math.min(1, e.painter.rate) : e.painter.rate);
      // All painters keep one beat, so that what is due together is drawn in
      // one frame: each frame costs, whatever is in it.
      e.next = (Math.floor(now / period) + 1) * period;
    }
    soonest = Math.min(soonest, e.next);
  }
  if (soonest === Infinity) return;
  // Sleeping until a painter is due costs less than asking at every frame.
  clearTimeout(timer);
  timer = setTimeout(schedule, Math.max(0, soonest - now));
}
