/** What this browser remembers under a key, null where it remembers nothing. */
export function remember(key: string, value?: string): string | null {
  try {
    if (value !== undefined) localStorage.setItem(key, value);
    return localStorage.getItem(key);
  } catch {
    return null; // storage can be forbidden; pages work without it
  }
}
