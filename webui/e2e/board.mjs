// A board that does not exist: sends packed frames over TCP to whoever
// connects, as the notes for makers say. Written from the notes and not from
// the program, so that the two can disagree.

import { createServer } from 'node:net';

function crc32c(bytes) {
  let crc = 0xffffffff;
  for (const b of bytes) {
    crc ^= b;
    for (let bit = 0; bit < 8; bit++) crc = (crc >>> 1) ^ (crc & 1 ? 0x82f63b78 : 0);
  }
  return (crc ^ 0xffffffff) >>> 0;
}

/** COBS with the closing zero. */
function wire(bytes) {
  const out = [];
  for (let at = 0; ; ) {
    let run = 0;
    while (run < 254 && at + run < bytes.length && bytes[at + run] !== 0) run++;
    out.push(run + 1, ...bytes.subarray(at, at + run));
    at += run;
    if (at === bytes.length) break;
    if (run < 254) at++;
  }
  out.push(0);
  return Buffer.from(out);
}

function header(kind, source, seq, ms, count) {
  const b = Buffer.alloc(18);
  b.writeUInt8(1, 0);
  b.writeUInt8(kind, 1);
  b.writeUInt16LE(source, 2);
  b.writeUInt32LE(seq, 4);
  b.writeUInt32LE(ms >>> 0, 8);
  b.writeUInt16LE(count, 14);
  return b; // 16 bits a reading, no flags
}

function sealed(...parts) {
  const body = Buffer.concat(parts);
  const crc = Buffer.alloc(4);
  crc.writeUInt32LE(crc32c(body));
  return wire(Buffer.concat([body, crc]));
}

/**
 * Listens on the loopback. Sources are {number, channels, rate, rest, sent}; more can be added
 * while it runs. `rest` is what a channel reads, or how it is made of the number of the scan;
 * `sent` is told the number of each scan just before its bytes leave. Its time passes `speed` times
 * as fast as ours.
 */
export async function startBoard(sources, speed = 1) {
  const peers = new Set();
  const timers = [];
  const server = createServer((socket) => {
    peers.add(socket);
    socket.on('error', () => {}).on('close', () => peers.delete(socket));
  });
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  const send = (bytes) => peers.forEach((p) => p.write(bytes));
  const ms = () => Math.floor(speed * performance.now());
  const all = new Map();

  function add({ number, channels, rate, rest = 100, sent = () => {} }) {
    const s = { seq: 0, pressed: new Map() };
    all.set(number, s);
    timers.push(
      setInterval(() => {
        const readings = Buffer.alloc(2 * channels);
        const at = typeof rest === 'function' ? rest : (i, seq) => rest + ((i * 31 + seq * 17) % 5);
        for (let i = 0; i < channels; i++) readings.writeUInt16LE(s.pressed.get(i) ?? at(i, s.seq), 2 * i);
        sent(s.seq);
        send(sealed(header(1, number, s.seq++, ms(), channels), readings));
      }, 1000 / rate / speed),
    );
  }
  sources.forEach(add);

  return {
    address: `127.0.0.1:${server.address().port}`,
    add,
    press: (number, channel, reading) => all.get(number).pressed.set(channel, reading),
    release: (number) => all.get(number).pressed.clear(),
    status(number, { millivolts = 0xffff, percent = 0xff, celsius = -128, uptime = 0, firmware = '' }) {
      const name = Buffer.from(firmware);
      const b = Buffer.alloc(9);
      b.writeUInt16LE(millivolts, 0);
      b.writeUInt8(percent, 2);
      b.writeInt8(celsius, 3);
      b.writeUInt32LE(uptime, 4);
      b.writeUInt8(name.length, 8);
      send(sealed(header(2, number, all.get(number).seq++, ms(), 0), b, name));
    },
    stop() {
      timers.forEach(clearInterval);
      peers.forEach((p) => p.destroy());
      server.close();
    },
  };
}
