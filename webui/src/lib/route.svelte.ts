// Which page is shown, from the address: /, /places/<id>, /alerts,
// /records, /bench, /calibrate, /rehearse, /setup, /setup/<bridge>/<source>, /setup/configuration, /notes, /notes/<document>, /handbook#<number>, /screen#<key>. /bridges is what /setup was once called.

export type Route =
  | { page: 'round' }
  | { page: 'place'; id: string }
  | { page: 'alerts' }
  | { page: 'records' }
  | { page: 'bench' }
  | { page: 'calibrate' }
  | { page: 'rehearse' }
  | { page: 'setup' }
  | { page: 'source'; id: string }
  | { page: 'configuration' }
  | { page: 'notes'; name: string }
  | { page: 'handbook' }
  | { page: 'screen' }
  | { page: 'missing' };

export function parse(path: string): Route {
  const parts = path.split('/').filter(Boolean);
  const [first, ...rest] = parts;
  if (first === undefined) return { page: 'round' };
  if (rest.length === 0) {
    if (first === 'alerts' || first === 'records' || first === 'bench' || first === 'calibrate' || first === 'rehearse' || first === 'setup' || first === 'handbook' || first === 'screen') return { page: first };
    if (first === 'notes') return { page: 'notes', name: 'firmware' };
    if (first === 'bridges') return { page: 'setup' };
    return { page: 'missing' };
  }
  try {
    const names = rest.map(decodeURIComponent);
    if (first === 'places' && names.length === 1) return { page: 'place', id: names[0]! };
    if (first === 'notes' && names.length === 1) return { page: 'notes', name: names[0]! };
    if (first === 'setup' && names.length === 1 && names[0] === 'configuration') return { page: 'configuration' };
    if (first === 'setup' && names.length === 2) return { page: 'source', id: names.join('/') };
  } catch {
    // An address that is no text leads nowhere.
  }
  return { page: 'missing' };
}

export function placePath(id: string): string {
  return `/places/${encodeURIComponent(id)}`;
}

/** The page of a source, by its "bridge/source". */
export function sourcePath(id: string): string {
  return `/setup/${id.split('/').map(encodeURIComponent).join('/')}`;
}

class Router {
  current = $state.raw<Route>(parse(location.pathname));

  constructor() {
    if (location.pathname === '/bridges') history.replaceState(null, '', '/setup');
    addEventListener('popstate', () => (this.current = parse(location.pathname)));
    // One listener for all links; what has a modifier, a target or another
    // origin is the browser's own business.
    addEventListener('click', (e) => {
      const a = (e.target as Element | null)?.closest?.('a');
      if (!a || e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
      if (a.target || a.origin !== location.origin || a.getAttribute('href')?.startsWith('#')) return;
      if (parse(a.pathname).page === 'missing') return;
      e.preventDefault();
      this.go(a.pathname, a.hash);
    });
  }

  /** `hash` is a part of the page, "#due"; the page goes there itself once it has it. */
  go(path: string, hash = ''): void {
    if (path + hash !== location.pathname + location.hash) history.pushState(null, '', path + hash);
    this.current = parse(path);
    scrollTo(0, 0);
    // The heading takes the focus, so that a screen reader says where one is.
    requestAnimationFrame(() => document.querySelector<HTMLElement>('main h1')?.focus());
  }
}

export const router = new Router();
