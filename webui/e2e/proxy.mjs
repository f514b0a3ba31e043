// A cable between browser and daemon that a story can cut: silently, as a
// network does that has gone away, or with a hang-up.

import { connect, createServer } from 'node:net';

export async function startProxy(target) {
  let to = new URL(target);
  const pairs = new Set();
  let cut = false;

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
    near.on('data', (b) => cut || far.write(b));
    far.on('data', (b) => cut || near.write(b));
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
