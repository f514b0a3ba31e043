// A cable between browser and daemon that a story can cut: silently, as a
// network does that has gone away, or with a hang-up. It can be a thin one.

import { connect, createServer } from 'node:net';

/**
 * One direction of a link that carries `rate` bytes a second in all: what passes on a
 * connection is handed out a little at a time, in turn with the other connections, and
 * its sender has to wait.
 */
class Bucket {
  #rate;
  #lanes = [];
  #timer = null;
  #credit = 0;
  #last = 0;
  passed = 0;

  constructor(rate) {
    this.#rate = rate;
  }

  /** Lets bytes from one socket through to the other, in its turn. */
  carry(from, to, cut) {
    const lane = { from, to, cut, waiting: [] };
    this.#lanes.push(lane);
    from.on('data', (b) => {
      lane.waiting.push(b);
      from.pause();
      if (this.#timer) return;
      this.#last = performance.now();
      this.#timer = setInterval(() => this.#drip(), 10);
    });
    from.on('close', () => this.#lanes.splice(this.#lanes.indexOf(lane), 1));
  }

  #drip() {
    const now = performance.now();
    // What nobody used adds up to no more than a quarter of a second, for which a busy machine may forget this.
    this.#credit = Math.min(this.#credit + ((now - this.#last) / 1000) * this.#rate, this.#rate / 4);
    this.#last = now;
    for (let busy = true; busy && this.#credit >= 1; ) {
      busy = false;
      for (const lane of [...this.#lanes]) {
        const next = lane.waiting[0];
        if (!next || this.#credit < 1) continue;
        busy = true;
        const part = next.subarray(0, Math.min(next.length, Math.floor(this.#credit), 512));
        this.#credit -= part.length;
        this.passed += part.length;
        if (part.length === next.length) lane.waiting.shift();
        else lane.waiting[0] = next.subarray(part.length);
        if (!lane.cut()) lane.to.write(part);
        if (lane.waiting.length === 0) lane.from.resume();
      }
    }
    if (this.#lanes.every((l) => l.waiting.length === 0)) {
      clearInterval(this.#timer);
      this.#timer = null;
    }
  }
}

/** A cable to a daemon; `rate` is how many bytes a second it carries in each direction. */
export async function startProxy(target, { rate = Infinity } = {}) {
  let to = new URL(target);
  const pairs = new Set();
  let cut = false;
  const down = new Bucket(rate);
  const up = new Bucket(rate);

  const server = createServer((near) => {
    const far = connect(Number(to.port), to.hostname);
    const pair = { near, far };
    pairs.add(pair);
    const end = () => {
      near.destroy();
      far.destroy();
      pairs.delete(pair);
    };
    for (const s of [near, far]) s.on('error', end).on('close', end);
    if (rate < Infinity) {
      down.carry(far, near, () => cut);
      up.carry(near, far, () => cut);
    } else {
      near.on('data', (b) => cut || far.write(b));
      far.on('data', (b) => cut || near.write(b));
    }
  });
  await new Promise((done) => server.listen(0, '127.0.0.1', done));

  const hangUp = () => {
    for (const { near, far } of pairs) {
      near.destroy();
      far.destroy();
    }
  };
  return {
    url: `http://127.0.0.1:${server.address().port}`,
    /** Bytes that have come from the daemon over a thin link. */
    carried: () => down.passed,
    /** From now on nothing passes, in either direction, and nobody is told. */
    silence: () => (cut = true),
    hangUp,
    /** New connections go to another daemon. */
    lead: (url) => (to = new URL(url)),
    /** New connections pass again; what hung in the silence is gone. */
    mend() {
      cut = false;
      hangUp();
    },
    stop() {
      hangUp();
      server.close();
    },
  };
}
