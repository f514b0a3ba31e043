// Answers of the daemon that come when a test lets them.

import { vi } from 'vitest';

export interface Question {
  path: string;
  /** What was sent; undefined where something was read. */
  body: any;
  give(answer: unknown, status?: number): void;
  /** The link is lost. */
  lose(): void;
}

/** Takes the place of fetch, and gives the questions that were asked of it, the first one first. */
export function asking(): Question[] {
  const all: Question[] = [];
  vi.stubGlobal('fetch', (path: string, init?: RequestInit) =>
    new Promise<Response>((resolve, reject) =>
      all.push({
        path,
        body: init?.body === undefined ? undefined : JSON.parse(init.body as string),
        give: (answer, status = 200) => resolve(Response.json(answer, { status })),
        lose: () => reject(new TypeError('no link')),
      }),
    ),
  );
  return all;
}
