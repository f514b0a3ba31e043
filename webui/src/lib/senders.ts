// How the ways on which messages go fare, in sentences.

import { senders as text } from './text.senders';

/** A sender, as /api/v1/senders lists it. */
export interface Sender {
  id: string;
  reaches: string;
  state: 'well' | 'untried' | 'failing' | 'broken';
  trouble: string;
  trouble_since: string | null;
  next_try_at: string | null;
  waiting: number;
  waiting_since: string | null;
  sent: number;
  given_up: number;
  withdrawn: number;
  last_sent_at: string | null;
  last_test_at: string | null;
  calls: Called[];
}

/** What has become of the call of an alert that calls a sender now. */
export interface Called {
  alert: string;
  tier: number;
  state: 'trying' | 'sent' | 'given-up' | 'withdrawn';
  queued_at: string | null;
  at: string | null;
}

/** Whether it is open; clock tells an instant of the server. */
export function standing(s: Sender, clock: (at: string) => string): string {
  switch (s.state) {
    case 'broken':
      return text.broken(s.trouble);
    case 'failing':
      return text.failing(s.trouble);
    case 'well':
      return s.last_sent_at ? text.well(clock(s.last_sent_at)) : text.untried;
    case 'untried':
      return text.untried;
  }
}

/** What else is known of it. */
export function details(s: Sender, clock: (at: string) => string): string[] {
  const parts: string[] = [];
  if (s.trouble && s.trouble_since) parts.push(text.since(clock(s.trouble_since)));
  if (s.waiting > 0 && s.waiting_since) parts.push(text.waiting(s.waiting, clock(s.waiting_since)));
  if (s.trouble && s.waiting > 0 && s.next_try_at) parts.push(text.next(clock(s.next_try_at)));
  parts.push(text.counts(s.sent, s.given_up), s.last_test_at ? text.test(clock(s.last_test_at)) : text.noTest);
  return parts;
}

/** By whom the present tier of an alert was called, and whether that was delivered; clock tells an instant of the server. */
export function called(list: readonly Sender[], alert: string, tier: number, clock: (at: string) => string): string[] {
  return list.flatMap((s) =>
    s.calls.filter((c) => c.alert === alert && c.tier === tier).map((c) => text.called[c.state](s.id, clock(c.queued_at ?? ''), clock(c.at ?? ''))),
  );
}
