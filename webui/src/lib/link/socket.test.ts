// @vitest-environment happy-dom
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { LiveLink, OLD_AFTER, PROTOCOL, type Phase } from './socket';
import type { LiveEvent } from './types';

class FakeSocket {
  static OPEN = 1;
  static all: FakeSocket[] = [];
  binaryType = '';
  readyState = 1;
  sent: unknown[] = [];
  onmessage: ((e: { data: unknown }) => void) | null = null;
  onclose: ((e: { code: number }) => void) | null = null;
  constructor(
    readonly url: string,
    readonly protocol: string,
  ) {
    FakeSocket.all.push(this);
  }
  send(text: string): void {
    this.sent.push(JSON.parse(text));
  }
  close(): void {
    this.readyState = 3;
  }
  says(e: object | string): void {
    this.onmessage?.({ data: typeof e === 'string' ? e : JSON.stringify(e) });
  }
}

const T0 = Date.UTC(2031, 0, 1, 10);
const at = (ms: number) => new Date(T0 + ms).toISOString();
const subscription = { places: 'all' as const, signals: ['a/*'], maps: [] };

let phases: [Phase, number][];
let events: LiveEvent[];
let frames: number[];
let link: LiveLink;
const last = () => FakeSocket.all.at(-1)!;

beforeEach(() => {
  vi.useFakeTimers();
  vi.stubGlobal('WebSocket', FakeSocket);
  FakeSocket.all = [];
  phases = [];
  events = [];
  frames = [];
  link = new LiveLink('ws://x/live', {
    event: (e) => events.push(e),
    frame: (f) => frames.push(f.number),
    phase: (p, t) => phases.push([p, t]),
  });
  link.subscribe(subscription);
  link.start();
});

afterEach(() => {
  link.stop();
  vi.unstubAllGlobals();
  vi.useRealTimers();
});

function greet(ms: number): void {
  last().says({ event: 'hello', protocol: PROTOCOL, now: at(ms), speed: 1, version: 'x' });
  last().says({ event: 'snapshot', now: at(ms), places: [], alerts: [], streams: [], maps: [] });
}

function beatFor(seconds: number, from: number): void {
  for (let s = 1; s <= seconds; s++) {
    vi.advanceTimersByTime(1000);
    last().says({ event: 'beat', now: at(from + s * 1000) });
  }
}

describe('the live link', () => {
  it('asks for what it wants after hello, and is live with the snapshot', () => {
    expect(last().protocol).toBe(PROTOCOL);
    expect(last().sent).toEqual([]);
    greet(0);
    expect(last().sent).toEqual([{ subscribe: subscription }]);
    expect(phases.map((p) => p[0])).toEqual(['live']);
    link.subscribe({ places: ['b'], signals: [], maps: ['b'] });
    expect(last().sent.at(-1)).toEqual({ subscribe: { places: ['b'], signals: [], maps: ['b'] } });
  });

  it('stays live while beats come, and is old within 3 s of silence, saying since when', () => {
    greet(0);
    beatFor(20, 0);
    expect(phases).toHaveLength(1);
    vi.advanceTimersByTime(OLD_AFTER - 300);
    expect(phases).toHaveLength(1);
    vi.advanceTimersByTime(600);
    expect(phases.at(-1)).toEqual(['old', T0 + 20_000]);
  });

  it('is old when news are late, though they keep coming', () => {
    greet(0);
    beatFor(2, 0);
    beatFor(1, -2000); // a beat that was three seconds and more on its way
    vi.advanceTimersByTime(300);
    expect(phases.at(-1)![0]).toBe('old');
  });

  it('is old while the daemon gives no word, whatever else comes, and fresh again when that has lasted', () => {
    greet(0);
    beatFor(5, 0);
    for (let i = 0; i < 20; i++) {
      last().says({ event: 'place', place: { id: 'bed-1' } });
      vi.advanceTimersByTime(100);
    }
    expect(phases.at(-1)![0]).toBe('old');
    beatFor(1, 7000);
    expect(phases.at(-1)![0]).toBe('old');
    beatFor(2, 8000);
    expect(phases.at(-1)![0]).toBe('live');
  });

  it('is old when nothing ever came', () => {
    vi.advanceTimersByTime(3000);
    expect(phases).toEqual([['old', NaN]]);
  });

  it('opens again after a loss, subscribes again, and is live only with the new snapshot', () => {
    greet(0);
    last().onclose!({ code: 1006 });
    vi.advanceTimersByTime(4000);
    expect(phases.at(-1)![0]).toBe('old');
    expect(FakeSocket.all.length).toBeGreaterThan(1);
    last().says({ event: 'hello', protocol: PROTOCOL, now: at(4000), speed: 1, version: 'x' });
    vi.advanceTimersByTime(500);
    expect(phases.at(-1)![0]).toBe('old');
    greet(4500);
    expect(phases.at(-1)![0]).toBe('live');
    expect(last().sent).toContainEqual({ subscribe: subscription });
  });

  it('is back at once where the configuration has changed', () => {
    greet(0);
    last().onclose!({ code: 1012 });
    const n = FakeSocket.all.length;
    vi.advanceTimersByTime(260);
    expect(FakeSocket.all.length).toBe(n + 1);
    greet(260);
    vi.advanceTimersByTime(300);
    expect(phases.map((p) => p[0])).toEqual(['live']);
  });

  it('gives up a connection that is open but silent', () => {
    greet(0);
    const first = last();
    vi.advanceTimersByTime(7500);
    expect(first.readyState).toBe(3);
    expect(last()).not.toBe(first);
  });

  it('waits longer after each failure, but never long', () => {
    const gaps: number[] = [];
    let since = Date.now();
    for (let i = 0; i < 9; i++) {
      last().onclose!({ code: 1006 });
      const n = FakeSocket.all.length;
      while (FakeSocket.all.length === n) vi.advanceTimersByTime(10);
      gaps.push(Date.now() - since);
      since = Date.now();
    }
    expect(gaps[0]).toBeLessThanOrEqual(600);
    expect(gaps[8]).toBeGreaterThan(3000);
    expect(Math.max(...gaps)).toBeLessThanOrEqual(8100);
  });

  it('confirms frames, and drops what is neither frame nor event', () => {
    greet(0);
    const frame = new DataView(new ArrayBuffer(16));
    frame.setUint8(0, 1);
    frame.setUint32(4, 77, true);
    last().onmessage!({ data: frame.buffer });
    last().onmessage!({ data: new ArrayBuffer(5) });
    last().says('not json');
    last().says('null');
    expect(frames).toEqual([77]);
    expect(last().sent.at(-1)).toEqual({ got: 77 });
    expect(events.map((e) => e.event)).toEqual(['hello', 'snapshot']);
  });

  it('no longer listens to a socket that it has let go', () => {
    greet(0);
    const first = last();
    first.onclose!({ code: 1006 });
    first.says({ event: 'beat', now: at(99_000) });
    expect(events).toHaveLength(2);
  });
});
