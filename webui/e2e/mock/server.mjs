// A stand-in for the daemon that serves the built pages, the HTTP API and the
// live connection for an invented ward. Tests that need a ward of sixty, or
// exact rates, use it; everything else runs against the real daemon.

import { createReadStream, existsSync } from 'node:fs';
import { createServer } from 'node:http';
import { extname, join, normalize } from 'node:path';
import { fileURLToPath } from 'node:url';
import { WebSocketServer } from 'ws';
import { cells, history, sitePressure, view } from './ward.mjs';

const DIST = fileURLToPath(new URL('../../dist', import.meta.url));
const TYPES = { '.html': 'text/html', '.js': 'text/javascript', '.css': 'text/css', '.svg': 'image/svg+xml' };
const CSP = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

/** Starts it on a free port of the loopback; returns its address and how to stop it. */
export async function startMock(places, { bridges = [] } = {}) {
  const byId = new Map(places.map((p) => [p.id, p]));
  const server = createServer((req, res) => {
    const url = new URL(req.url, 'http://x');
    const json = (body, status = 200) => res.writeHead(status, { 'Content-Type': 'application/json' }).end(JSON.stringify(body));
    const parts = url.pathname.split('/').filter(Boolean).map(decodeURIComponent);
    if (parts[0] === 'api') {
      const now = Date.now();
      const p = byId.get(parts[3]);
      if (parts[2] === 'places' && parts.length === 3) return json({ places: places.map((q) => view(q, now)) });
      if (parts[2] === 'places' && p && parts.length === 4) return json(view(p, now));
      if (parts[2] === 'places' && p && parts[4] === 'signals') {
        const at = (key) => Date.parse(url.searchParams.get(key));
        return json(history(p, url.searchParams.getAll('name'), at('from'), at('to'), Number(url.searchParams.get('points'))));
      }
      if (parts[2] === 'bridges' && parts.length === 3) return json({ bridges });
      const source = bridges.flatMap((b) => b.sources).find((q) => q.id === `${parts[3]}/${parts[5]}`);
      if (parts[6] === 'raw' && source) {
        return json({ at: new Date(now).toISOString(), channels: Array.from({ length: source.channels }, (_, i) => (i % 97 === 5 ? null : 100 + ((i * 31 + now) % 5))) });
      }
      return json({ title: 'not found', status: 404 }, 404);
    }
    let file = normalize(join(DIST, url.pathname));
    if (!file.startsWith(DIST) || !extname(file) || !existsSync(file)) file = join(DIST, 'index.html');
    res.writeHead(200, { 'Content-Type': TYPES[extname(file)] ?? 'application/octet-stream', 'Content-Security-Policy': CSP });
    createReadStream(file).pipe(res);
    return undefined;
  });
  const sockets = new WebSocketServer({ server, path: '/live', handleProtocols: (all) => (all.has('weald.live.v1') ? 'weald.live.v1' : false) });
  sockets.on('connection', (socket) => serveLive(socket, places));
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  return {
    url: `http://127.0.0.1:${server.address().port}`,
    stop() {
      for (const s of sockets.clients) s.terminate();
      sockets.close();
      server.close();
    },
  };
}

function serveLive(socket, places) {
  const iso = () => new Date().toISOString();
  const tell = (event) => socket.send(JSON.stringify(event));
  let wish = { places: [], signals: [], maps: [] };
  let number = 0;
  let open = 0; // frames that were not confirmed
  const streams = places.flatMap((p) => p.sites.map((s, k) => ({ p, k, name: `${s.id}.pressure` }))).map((s, i) => ({ ...s, stream: i }));
  const maps = places.filter((p) => p.rows).map((p, i) => ({ p, stream: 30_000 + i }));
  const wanted = (p) => wish.places === 'all' || wish.places.includes(p.id);

  tell({ event: 'hello', protocol: 'weald.live.v1', now: iso(), speed: 1, version: 'test' });
  socket.on('message', (data) => {
    const m = JSON.parse(data.toString());
    if (m.got !== undefined) open = Math.max(0, number - m.got);
    if (!m.subscribe) return;
    wish = m.subscribe;
    const now = Date.now();
    const views = places.map((p) => view(p, now));
    tell({
      event: 'snapshot', now: iso(),
      places: views.filter((_, i) => wanted(places[i])),
      alerts: views.flatMap((v) => v.alerts),
      streams: mine().map((s) => ({ stream: s.stream, place: s.p.id, name: s.name, unit: 'mmHg' })),
      maps: maps.filter((m2) => wish.maps.includes(m2.p.id)).map((m2) => ({ stream: m2.stream, place: m2.p.id, rows: m2.p.rows, columns: m2.p.columns })),
    });
  });
  const mine = () => streams.filter((s) => wish.signals.some((w) => w === `${s.p.id}/${s.name}` || w === `${s.p.id}/*`));

  let sent = Date.now();
  const fast = setInterval(() => {
    const now = Date.now();
    const due = mine();
    if (open < 4 && due.length) send(samples(due, sent, now, ++number));
    for (const m of maps) {
      if (open < 4 && wish.maps.includes(m.p.id)) send(map(2, m, now, ++number));
    }
    sent = now;
  }, 100);
  const slow = setInterval(() => {
    const now = Date.now();
    const views = places.filter(wanted).map((p) => view(p, now));
    if (wish.news) tell({ event: 'places', places: views });
    else for (const v of views) tell({ event: 'place', place: v });
    for (const m of maps) if (open < 4 && wish.maps.includes(m.p.id)) send(map(3, m, now, ++number));
    tell({ event: 'beat', now: iso() });
  }, 1000);
  socket.on('close', () => {
    clearInterval(fast);
    clearInterval(slow);
  });

  function send(buffer) {
    open++;
    socket.send(buffer);
  }
}

function header(size, kind, n, number, base) {
  const b = Buffer.alloc(size);
  b.writeUInt8(kind, 0);
  b.writeUInt16LE(n, 2);
  b.writeUInt32LE(number, 4);
  b.writeDoubleLE(base, 8);
  return b;
}

function samples(streams, from, to, number) {
  const blocks = streams.map((s) => {
    const step = 1000 / s.p.rate;
    const times = [];
    for (let t = Math.ceil(from / step) * step; t < to; t += step) times.push(t);
    const b = Buffer.alloc(4 + 8 * times.length);
    b.writeUInt16LE(s.stream, 0);
    b.writeUInt16LE(times.length, 2);
    times.forEach((t, i) => {
      b.writeInt32LE(Math.round(t - to), 4 + 4 * i);
      b.writeFloatLE(sitePressure(s.p, s.k, t), 4 + 4 * (times.length + i));
    });
    return b;
  });
  return Buffer.concat([header(16, 1, blocks.length, number, to), ...blocks]);
}

function map(kind, m, now, number) {
  const { pressure, loaded } = cells(m.p, now);
  const b = header(28, kind, 0, number, now);
  b.writeUInt16LE(m.stream, 16);
  b.writeUInt16LE(m.p.rows, 18);
  b.writeUInt16LE(m.p.columns, 20);
  b.writeFloatLE(kind === 2 ? 0.1 : 1, 24);
  return Buffer.concat([b, Buffer.from((kind === 2 ? pressure : loaded).buffer)]);
}

