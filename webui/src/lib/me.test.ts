// @vitest-environment happy-dom
import { afterEach, describe, expect, it, vi } from 'vitest';
import { who } from './deeds.svelte';
import { getKept } from './link/history';
import { Me, type Said } from './me.svelte';

const nobody: Said = { accounts: true, directory: false, first: false, name: '', role: 'nobody', means: 'none', may: ['me', 'log-in'] };
const kai: Said = { ...nobody, name: 'kai', role: 'carer', means: 'session', may: ['me', 'sessions', 'acknowledge', 'mark', 'raw'] };

/** A daemon that answers in order, and what it was asked. */
function daemon(...answers: [number, object][]): string[] {
  const asked: string[] = [];
  vi.stubGlobal('fetch', async (to: string, o?: RequestInit) => {
    asked.push(`${o?.method ?? 'GET'} ${to}`);
    const [status, body] = answers.shift() ?? [500, {}];
    return new Response(JSON.stringify(body), { status });
  });
  return asked;
}

afterEach(() => {
  vi.unstubAllGlobals();
  who.known = null;
});

describe('who one is', () => {
  it('matters to nothing before it is known, and where there are no accounts', async () => {
    const me = new Me();
    expect([me.can('calibrate'), me.outside, me.sees('records')]).toEqual([true, false, true]);
    daemon([200, { ...nobody, accounts: false, role: 'admin', means: 'open' }]);
    await me.read();
    expect([me.can('calibrate'), me.outside, me.sees('records')]).toEqual([true, false, true]);
    expect(who.known).toBe(null);
  });

  it('is asked for first, and then is the name that acts are signed with', async () => {
    const me = new Me();
    daemon([200, nobody], [200, kai]);
    await me.read();
    expect([me.outside, me.sees('records'), me.sees('handbook')]).toEqual([true, false, true]);
    await me.logIn(' kai ', 'vier blaue Heringe');
    expect([me.outside, me.can('acknowledge'), me.can('calibrate'), me.sees('records'), me.sees('rehearse')]).toEqual([false, true, false, true, false]);
    expect(who.code).toBe('kai');
  });

  it('comes with whether anything is kept, and where nothing is, nobody asks for it', async () => {
    const me = new Me();
    const asked = daemon([200, { ...kai, keeps: false }], [200, { ...kai, keeps: true }], [200, { n: 1 }]);
    await me.read();
    await expect(getKept('/api/v1/record')).rejects.toThrow('/api/v1/record: 503');
    expect(asked).toHaveLength(1);
    await me.read();
    expect(await getKept('/api/v1/record')).toEqual({ n: 1 });
  });

  it('stays what it was while the daemon does not answer', async () => {
    const me = new Me();
    daemon([200, kai], [502, {}]);
    await me.read();
    await me.read();
    expect(me.name).toBe('kai');
  });

  it('is refused in words of the page', async () => {
    const me = new Me();
    daemon([401, { detail: 'the name or the password is not right' }], [429, { detail: 'too many wrong passwords: try again in 120 s' }]);
    await expect(me.logIn('kai', 'falsch')).rejects.toThrow('The name or the password is not right.');
    await expect(me.logIn('kai', 'falsch')).rejects.toThrow('Try again in 120 s');
  });

  it('is said to be there once a minute at most, and only of a log-in', async () => {
    const me = new Me();
    const asked = daemon([200, kai]);
    me.here(0);
    await me.read();
    for (const now of [0, 1000, 59_999, 60_000, 61_000]) me.here(now);
    expect(asked).toEqual(['GET /api/v1/me', 'POST /api/v1/me/here', 'POST /api/v1/me/here']);
  });
});
