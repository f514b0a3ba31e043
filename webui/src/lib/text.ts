// Every word that the pages say, in one place.

export const words = {
  dash: '—',
  unknown: 'not known',
  product: 'weald',
  pages: 'Pages',
  skip: 'Skip to the page',
  round: 'Round',
  alerts: 'Alerts',
  bridges: 'Bridges',
  now: 'now',
  wholeMat: 'whole mat',
} as const;

export const caution = {
  short: 'A research and training aid, not a medical device and no substitute for looking at the skin. Local policy and the responsible clinician decide.',
  title: 'Before you rely on what you see here',
  whole: [
    'Weald is a research and training aid. It is not a medical device, it is not an alarm system, and it makes no diagnosis. Some of its words and patterns are borrowed from alarm standards; no conformity with any of them is claimed.',
    'It supports looking at the skin and never replaces it. Sensors drift, slip and fail. A quiet page is not a proof that the skin is safe.',
    'Under a wrap: compression over a poor arterial supply can cost a limb. Assessment and fitting belong to trained staff.',
    'Where this page and local policy differ, local policy holds. The responsible clinician decides.',
  ],
  accept: 'I have read this',
  again: 'Read the whole caution',
} as const;

export const states = {
  alert: 'alert',
  building: 'building up',
  quiet: 'quiet',
  unknown: 'no data',
  uncalibrated: 'not calibrated',
} as const;

export const priorities = { high: 'high', medium: 'medium', low: 'low' } as const;

export const link = {
  connecting: 'Connecting …',
  live: 'live',
  old: (since: string) => `No news since ${since}. What you see is old.`,
  oldShort: (since: string) => `old since ${since}`,
  lag: (s: string) => `News arrives ${s} late. What you see is old.`,
  trying: 'Trying again by itself.',
  never: 'No connection to the daemon yet. Trying again by itself.',
  healed: (from: string, to: string) => `Connection is back. The time from ${from} to ${to} has been filled in.`,
  healedOnly: (from: string, to: string) => `Connection is back. The time from ${from} to ${to} could not be filled in.`,
  fast: (n: number) => `Demonstration: time runs ${n} times faster.`,
} as const;

export const round = {
  title: 'Round',
  question: 'Who needs me next?',
  summary: (alerts: number, silent: number, building: number, all: number) => {
    const parts = [
      alerts ? `${alerts} with an alert` : '',
      silent ? `${silent} without data` : '',
      building ? `${building} building up` : '',
    ].filter(Boolean);
    return `${all === 1 ? '1 place' : `${all} places`}: ${parts.length ? parts.join(', ') : 'nothing needs anybody now'}.`;
  },
  order: 'Order',
  byPlace: 'by place',
  byUrgency: 'by urgency',
  changed: 'The order has changed since.',
  again: 'Sort again',
  due: 'due',
  dueIn: (s: string) => `in ${s}`,
  dueNow: 'now',
  nothingDue: 'nothing due',
  dueUnknown: 'not known',
  none: 'No places are configured. Add some under “places:” in the configuration file.',
  ribbonHint: 'Each line is one part of the body over time; the thicker and darker, the more of its tolerance is used. Hatched: no data.',
  ribbonHintDark: 'Each line is one part of the body over time; the thicker and brighter, the more of its tolerance is used. Hatched: no data.',
  ribbon: (parts: string, span: string) => `Tolerance used now: ${parts}. The drawing shows the last ${span}.`,
  ribbonNone: 'No rule watches this place.',
} as const;

export const place = {
  missing: (id: string) => `There is no place called ${id}.`,
  toRound: 'Back to the round',
  before: 'Previous',
  after: 'Next',
  neighbours: 'Neighbouring places',
  tolerance: 'Tolerance used',
  openAlerts: 'Open alerts here',
  due: 'Next due',
} as const;

export const mat = {
  title: { bed: 'Where, and for how long', seat: 'Where, and for how long', wrap: 'Where, and for how long' },
  loaded: 'Time loaded',
  pressure: 'Pressure',
  shade: 'Shade by',
  key: 'key P',
  regions: 'Outline regions',
  raw: 'Raw cells',
  rawHint: 'Without it, shades are blended between cells, which shows values that nobody measured.',
  legendLoaded: 'loaded since last relief',
  legendPressure: 'pressure now, mmHg',
  unit: 'mmHg',
  limit: (v: string, rule: string) => `line: ${v} mmHg now, the limit of ${rule}`,
  loadedLine: (v: string) => `line: ${v} mmHg now; above it a cell counts as loaded`,
  unknown: 'hatched: no data',
  ofRule: (rule: string) => `${rule} is due`,
  nothing: 'No map has arrived yet.',
  peak: (v: string, where: string) => `Highest now ${v}, ${where}.`,
  longest: (d: string, where: string) => `Loaded longest: ${d}, ${where}.`,
  notLoaded: (v: string) => `No cell is loaded above ${v} mmHg.`,
  unknownCells: (n: number, of: number) => `${n} of ${of} cells have no data.`,
  cell: (row: number, column: number) => `row ${row}, column ${column}`,
  inRegion: (region: string) => `in ${region}`,
  table: 'Figures by region',
  columns: { region: 'Region', peak: 'Peak, mmHg', mean: 'Mean, mmHg', longest: 'Loaded longest', used: 'Tolerance used' },
  image: (what: string, text: string) => `Map of the mat, shaded by ${what}. ${text}`,
  cellNow: (v: string, held: string) => `${v} mmHg, loaded for ${held}`,
  unknownCell: 'no data',
  noRule: 'no rule',
} as const;

export const wrap = {
  title: 'Is it graduated, and does it stay so?',
  height: 'height, cm',
  pressure: 'pressure, mmHg',
  target: 'target band',
  aim: 'target',
  ago: (t: string) => `at ${t}`,
  picture: 'Pressure by height along the limb',
  doubt: 'standard uncertainty',
  targetOf: (lo: number, hi: number) => `${lo} to ${hi} mmHg`,
  around: (cm: string) => `${cm} cm around`,
  uncalibrated: 'not calibrated',
  laneScale: (top: number) => `Each lane is 0 to ${top} mmHg; the band is the target. Thick: outside the target. Open: no data.`,
  over: 'above its target of',
  under: 'below its target of',
  inside: 'inside its target of',
  noTarget: 'no target set',
  falls: (from: string, a: string, to: string, b: string) => `Pressure falls from ${a} at the ${from} to ${b} mmHg at the ${to}.`,
  rises: (from: string, a: string, to: string, b: string) => `Pressure does not fall: ${a} at the ${from}, ${b} mmHg at the ${to}.`,
  unknown: 'Graduation is not known: a site has no data.',
  traces: 'Traces',
  window: 'Show',
  windows: { 60: '1 min', 600: '10 min', 3600: '1 h' } as Record<number, string>,
  trace: (site: string, text: string) => `Trace of ${site}: now ${text}`,
} as const;

export const alerts = {
  title: 'Alerts',
  question: 'What is open?',
  open: 'Open',
  cleared: 'Cleared in the last hour',
  noneOpen: 'No alert is open.',
  noneCleared: 'None.',
  raised: 'raised',
  clearedAt: 'cleared',
  standing: (d: string) => `for ${d}`,
  stood: (d: string) => `stood ${d}`,
  silent: 'its signal is not known at present',
  byRule: (rule: string) => `(rule ${rule})`,
  elsewhere: 'Open alert elsewhere',
  more: (n: number) => `and ${n} more`,
  spoken: (priority: string, place: string, text: string) => `New ${priority} priority alert, ${place}: ${text}`,
  spokenMany: (n: number, first: string) => `${n} new alerts. ${first}`,
  spokenOpen: (n: number) => (n === 1 ? '1 alert is open.' : `${n} alerts are open.`),
  spokenCleared: (place: string, text: string) => `Cleared, ${place}: ${text}`,
  priority: (p: string) => `${p} priority`,
} as const;

export const bridges = {
  title: 'Bridges',
  question: 'Is the equipment all right?',
  none: 'No bridges are configured.',
  unreachable: 'The list of bridges could not be had.',
  states: { open: 'open', connecting: 'connecting', waiting: 'waiting to try again', ended: 'at its end', stopped: 'stopped' } as Record<string, string>,
  trouble: (id: string, error: string) => `Bridge ${id}: ${error}`,
  since: (t: string) => `since ${t}`,
  next: (t: string) => `next try ${t}`,
  more: 'See the bridges',
  others: (n: number) => (n === 1 ? 'and 1 more bridge' : `and ${n} more bridges`),
  noScan: 'none yet',
  noBattery: 'not reported',
  format: (f: string) => `format ${f}`,
  sourcesOf: (id: string) => `Sources of ${id}`,
  columns: { source: 'Source', rate: 'Scans per second', frames: 'Frames', gaps: 'Gaps', bad: 'Damaged', last: 'Last scan, ago', battery: 'Battery' },
  bad: 'Frames that could not be read',
  ofNominal: (r: string) => `(of ${r})`,
  unknownSources: (n: string) => `Frames also come from sources that the configuration does not name: ${n}.`,
} as const;

export const theme = { label: 'Theme', auto: 'theme: device', light: 'theme: light', dark: 'theme: dark' } as const;

export const missing = { title: 'There is no such page.', home: 'To the round' } as const;
