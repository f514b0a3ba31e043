// An invented ward for tests of the pages alone: places with made-up
// pressures, as large and as fast as a test wants. What rules do is not
// imitated beyond what a page needs to have something to show.

const REGIONS = ['head', 'shoulders', 'back', 'pelvis', 'thighs', 'heels'];
const HOUR = 3_600_000;

/**
 * A place with `sites` channels, a mat of rows × columns, or both, and some hours of history. `doubts` has by the
 * name of a signal what makes it less than it seems.
 */
export function place(id, kind, { sites = 0, rows = 0, columns = 0, rate = 10, priority = 'medium', delay = 3600, doubts = {}, hours = 1 } = {}) {
  const p = { id, kind, rate, rows, columns, priority, delay, doubts, started: Date.now() - hours * HOUR, sites: [], regions: [], holds: [] };
  for (let k = 0; k < sites; k++) {
    const low = 40 - (28 * k) / Math.max(1, sites);
    const name = sites === 2 ? ['ankle', 'calf'][k] : `site_${String(k + 1).padStart(2, '0')}`;
    p.sites.push({ id: name, height_cm: 10 + (30 * k) / Math.max(1, sites - 1), circumference_cm: 23 + k, target: [low - 5, low + 5], calibrated: true });
  }
  const names = kind === 'seat' ? ['front', 'back'] : REGIONS;
  if (rows > 0) {
    names.forEach((name, i) => {
      const n = Math.max(rows, columns);
      const [from, to] = [Math.round((i * n) / names.length), Math.round(((i + 1) * n) / names.length) - 1];
      const along = { rows: [0, rows - 1], columns: [0, columns - 1], [rows > columns ? 'rows' : 'columns']: [from, to] };
      p.regions.push({ id: name, ...along });
    });
  }
  p.subjects = [...p.sites.map((s) => s.id), ...p.regions.map((r) => r.id)];
  p.phase = [...id].reduce((h, c) => (h * 31 + c.charCodeAt(0)) % 997, 7);
  return p;
}

/** Pressure of site k at t, in mmHg. */
export function sitePressure(p, k, t) {
  const low = p.sites[k].target;
  return (low[0] + low[1]) / 2 + 4 * Math.sin(t / 900 + k + p.phase) + 2 * Math.sin(t / 130 + k);
}

/** Share of tolerance that a subject has used at t: it grows, and is relieved every now and then. */
export function used(p, k, t) {
  const period = (0.3 + ((p.phase * 7 + k * 131) % 90) / 60) * HOUR;
  const turn = (t + p.phase * 100_000 + k * 777_000) % period;
  const relieved = k % 3 === p.phase % 3;
  return Math.min(1, turn / (relieved ? HOUR * 1.2 : HOUR * 4));
}

/** The cells of a mat at t: mmHg times ten, and seconds loaded. */
export function cells(p, t) {
  const { rows, columns } = p;
  const pressure = new Int16Array(rows * columns);
  const loaded = new Uint16Array(rows * columns);
  const lean = 0.08 * Math.sin(t / 20_000 + p.phase);
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < columns; c++) {
      const [y, x] = rows > columns ? [c / columns - 0.5 + lean, r / rows] : [r / rows - 0.5 + lean, c / columns];
      let v = 0;
      for (const [at, wide, tall, high] of [[0.07, 0.045, 0.1, 45], [0.24, 0.07, 0.26, 38], [0.52, 0.08, 0.24, 70], [0.7, 0.09, 0.2, 30], [0.94, 0.025, 0.16, 62]]) {
        v += high * Math.exp(-(((x - at) / wide) ** 2) - (y / tall) ** 2);
      }
      v += 1.5 * Math.sin(t / 700 + r * 1.7 + c * 2.3);
      const i = r * columns + c;
      pressure[i] = Math.max(0, Math.round(v * 10));
      const region = Math.min(p.regions.length - 1, Math.floor(x * p.regions.length));
      loaded[i] = v > 20 ? Math.round(used(p, region, t) * p.delay * Math.min(1, v / 60)) : 0;
    }
  }
  return { pressure, loaded };
}

/** The place as GET /api/v1/places/{place} has it. */
export function view(p, now) {
  const signals = {};
  p.sites.forEach((s, k) => {
    signals[`${s.id}.pressure`] = { value: sitePressure(p, k, now), u: 1.8, unit: 'mmHg', at: new Date(now).toISOString(), known: 2, members: 2 };
  });
  if (p.rows) signals['mat.peak'] = { value: 70, u: null, unit: 'mmHg', at: new Date(now).toISOString(), known: 1, members: 1 };
  for (const r of p.regions) signals[`${r.id}.peak`] = { ...signals['mat.peak'], u: 2 };
  for (const [name, doubt] of Object.entries(p.doubts)) Object.assign(signals[name], doubt);
  const holds = p.subjects.map((subject, k) => {
    const share = used(p, k, now);
    const since = share >= 1 ? new Date(now - 300_000).toISOString() : null;
    return {
      rule: 'long-load', subject, signal: `${subject}.pressure`, priority: p.priority, condition: 'yes', limit: 32,
      held_s: share * p.delay, on_delay_s: p.delay, used: share, raised: share >= 1, since,
      due_at: share > 0.2 && share < 1 ? new Date(now + (1 - share) * p.delay * 1000).toISOString() : null,
    };
  });
  const alerts = holds.filter((h) => h.raised).map((h) => alert(p, h));
  const top = holds.reduce((a, b) => (b.used > a.used ? b : a));
  return {
    id: p.id, kind: p.kind, at: new Date(now).toISOString(), sites: p.sites, signals, holds, alerts,
    ...(p.rows ? { mat: { rows: p.rows, columns: p.columns, regions: p.regions, loaded_above: 20, calibrated: true } } : {}),
    state: alerts.length ? 'alert' : top.used > 0.5 ? 'building' : 'quiet',
    text: `${top.subject}: above 32 mmHg for ${Math.round((top.used * p.delay) / 60)} min of ${p.delay / 60} min`,
  };
}

function alert(p, hold) {
  return {
    id: `${p.id}~${hold.rule}~${hold.subject}`, place: p.id, rule: hold.rule, subject: hold.subject, priority: p.priority,
    state: 'unacknowledged', since: hold.since, raised_at: hold.since, cleared_at: null, tier: 1, chattering: false,
    by: '', reason: '', until: null, acknowledged_at: null, acknowledged_by: '', value: 48, u: null, limit: 32, unit: 'mmHg',
    signal: hold.signal, signal_known: true, text: `${hold.subject} above 32 mmHg for ${p.delay / 60} min`,
  };
}

/** History as GET …/signals has it. */
export function history(p, names, from, to, points) {
  const step = Math.max(10, (to - from) / points);
  const series = names.map((name) => {
    const line = { name, unit: name.includes('.used/') ? '1' : 'mmHg', t: [], min: [], mean: [], max: [] };
    const k = p.subjects.indexOf(name.slice(0, name.indexOf('.')));
    for (let t = from; k >= 0 && t < to; t += step) {
      const v = t < p.started ? null : name.includes('.used/') ? used(p, k, t) : p.sites?.[k] ? sitePressure(p, k, t) : 30 + 10 * Math.sin(t / 60_000);
      line.t.push(new Date(t).toISOString());
      for (const list of [line.min, line.mean, line.max]) list.push(v);
    }
    return line;
  });
  return { from: new Date(from).toISOString(), to: new Date(to).toISOString(), step_s: step / 1000, series };
}
