// Accounts, tokens and wall screens, over HTTP.

import { getJSON } from './link/history';
import { post as send } from './link/post';
import { sentence } from './records';
import { access as text } from './text.access';

export const ROLES = ['viewer', 'carer', 'engineer', 'admin'] as const;
export type AccountRole = (typeof ROLES)[number];

export interface Account {
  name: string;
  role: AccountRole;
  made_at: string;
  made_by: string;
  changed_at: string;
  /** Who it is to the directory of the house; empty for nobody. */
  directory: string;
  sessions: number;
}

export interface Pass {
  id: string;
  means: 'token' | 'screen';
  name: string;
  role: AccountRole | 'wall';
  range: string;
  ends_at: string | null;
  made_at: string;
  made_by: string;
  withdrawn_at: string | null;
  used_at: string | null;
}

export interface MadePass {
  pass: Pass;
  key: string;
  url: string;
}

type All = { accounts: Account[] };

const ACCOUNTS = '/api/v1/accounts';
const PASSES = '/api/v1/passes';

const post = <T>(to: string, body: object) => send<T>(to, body, text, sentence);
const one = async (name: string, what: string, body: object) => (await post<All>(`${ACCOUNTS}/${encodeURIComponent(name)}/${what}`, body)).accounts;

export const readAccounts = async () => (await getJSON<All>(ACCOUNTS)).accounts;
export const makeAccount = async (name: string, role: AccountRole, password: string) => (await post<All>(ACCOUNTS, { name, role, password })).accounts;
export const setRole = (name: string, role: AccountRole) => one(name, 'role', { role });
export const setPassword = (name: string, password: string) => one(name, 'password', { password });
export const setDirectory = (name: string, directory: string) => one(name, 'directory', { directory: directory.trim() });
export const logOutEverywhere = (name: string) => one(name, 'log-out', {});
export const removeAccount = (name: string) => one(name, 'remove', {});

/** Takes a person out of the record: the daemon ends for it, and comes back. */
export const erasePerson = (code: string, again: string) => post<{ text: string }>('/api/v1/erasures', { code: code.trim(), again: again.trim() });

export const readPasses = async () => (await getJSON<{ passes: Pass[] }>(PASSES)).passes;
export const makeScreen = (name: string, range: string) => post<MadePass>(PASSES, { means: 'screen', name, range: range.trim(), base: location.origin });
export const makeToken = (name: string, role: AccountRole, ends: Date) => post<MadePass>(PASSES, { means: 'token', name, role, ends_at: ends.toISOString() });
export const withdrawPass = (id: string) => post<Pass>(`${PASSES}/${encodeURIComponent(id)}/withdraw`, {});
