// What somebody has asked the daemon to do, until its answer is there. Over a weak link that takes
// seconds: a second press meanwhile is the same wish and not another one, and it is said that one waits.

/** For so long nobody wonders whether a press has come to anything, in ms. */
const SOON = 1000;

export class Doing {
  /** An answer is awaited for so long that somebody would wonder. */
  long = $state(false);
  #under = new Set<string>();

  /** Does it, unless it is under way already. What differs by its name is another deed. */
  async once(what: () => Promise<unknown>, name = ''): Promise<void> {
    if (this.#under.has(name)) return;
    this.#under.add(name);
    const soon = setTimeout(() => (this.long = true), SOON);
    try {
      await what();
    } finally {
      clearTimeout(soon);
      this.#under.delete(name);
      if (this.#under.size === 0) this.long = false;
    }
  }
}
