// Which page is shown, from the address: /, /places/<id>, /alerts, /bridges.

export type Route = { page: 'round' } | { page: 'place'; id: string } | { page: 'alerts' } | { page: 'bridges' } | { page: 'missing' };

export function parse(path: string): Route {
  const parts = path.split('/').filter(Boolean);
  if (parts.length === 0) return { page: 'round' };
  if (parts.length === 1 && (parts[0] === 'alerts' || parts[0] === 'bridges')) return { page: parts[0] };
  if (parts.length === 2 && parts[0] === 'places') {
    try {
      return { page: 'place', id: decodeURIComponent(parts[1]!) };
    } catch {
      return { page: 'missing' };
    }
  }
  return { page: 'missing' };
}

export function placePath(id: string): string {
  return `/places/${encodeURIComponent(id)}`;
}

class Router {
  current = $state.raw<Route>(parse(location.pathname));

  constructor() {
    addEventListener('popstate', () => (this.current = parse(location.pathname)));
    // One listener for all links; what has a modifier, a target or another
    // origin is the browser's own business.
    addEventListener('click', (e) => {
      const a = (e.target as Element | null)?.closest?.('a');
      if (!a || e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
      if (a.target || a.origin !== location.origin || a.getAttribute('href')?.startsWith('#')) return;
      if (parse(a.pathname).page === 'missing') return;
      e.preventDefault();
      this.go(a.pathname);
    });
  }

  go(path: string): void {
    if (path !== location.pathname) history.pushState(null, '', path);
    this.current = parse(path);
    scrollTo(0, 0);
    // The heading takes the focus, so that a screen reader says where one is.
    requestAnimationFrame(() => document.querySelector<HTMLElement>('main h1')?.focus());
  }
}

export const router = new Router();
