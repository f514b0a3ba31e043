// Asking the daemon to do something.

import { refused } from '../refused';

/** What to say where the daemon says nothing. */
export interface Words {
  noAnswer: string;
  notDone(status: number): string;
}

/**
 * Posts, and gives what came of it. The error says in words why nothing did:
 * those of the daemon, as `put` puts them, or else of `words`; its cause is the status of an answer.
 */
export async function post<T>(to: string, body: object, words: Words, put = (s: string) => s): Promise<T> {
  let response: Response;
  try {
    response = await fetch(to, {
      method: 'POST',
      headers: { 'Content-Type': 'application/json', Accept: 'application/json' },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(10_000),
    });
  } catch {
    throw new Error(words.noAnswer);
  }
  const said = (await response.json().catch(() => null)) as (T & { detail?: string; errors?: { message: string }[] }) | null;
  if (response.ok && said) return said;
  if (response.status === 401) refused.tell();
  throw new Error(put(said?.errors?.[0]?.message ?? said?.detail ?? words.notDone(response.status)), { cause: response.status });
}

/** Why something was not done, in words; '' if it was. */
export async function refusal(what: () => Promise<unknown>): Promise<string> {
  try {
    await what();
    return '';
  } catch (problem) {
    return (problem as Error).message;
  }
}
