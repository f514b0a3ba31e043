// A client whose every path, parameter and field is checked against the types that
// openapi.mjs has made of the daemon's own description.

import type { Client } from 'openapi-fetch';
import type { paths } from './daemon.ts';

/** Asks for what a program would, and returns it. */
export async function ask(client: Client<paths>) {
  const place = { params: { path: { place: 'bench-1' } } };
  const places = await client.GET('/api/v1/places');
  const one = await client.GET('/api/v1/places/{place}', place);
  const signals = await client.GET('/api/v1/places/{place}/signals', {
    params: { path: { place: 'seat-1' }, query: { name: ['left.pressure'], points: 10 } },
  });
  const nowhere = await client.GET('/api/v1/places/{place}', { params: { path: { place: 'nowhere' } } });
  const alerts = await client.GET('/api/v1/alerts', { params: { query: { state: ['unacknowledged'] } } });
  const sessions = await client.GET('/api/v1/sessions');
  const mark = await client.POST('/api/v1/places/{place}/marks', { ...place, body: { what: 'turned', text: 'by a program', author: 'N-2' } });
  const made = await client.POST('/api/v1/exports', { body: { place: 'bench-1', format: 'fhir' } });
  const refused = await client.POST('/api/v1/exports', {
    // @ts-expect-error there is no such format, and the types know it
    body: { place: 'bench-1', format: 'punchcards' },
  });
  // @ts-expect-error there is no such path, and the types know it
  const unheard = await client.GET('/api/v1/weather');
  return {
    places: places.data?.places.map((p) => p.id),
    site: one.data?.signals['ankle.pressure']?.unit,
    series: signals.data?.series.map((s) => ({ name: s.name, unit: s.unit, points: s.mean.length })),
    nowhere: nowhere.error?.status,
    alerts: alerts.data?.alerts.map((a) => ({ rule: a.rule, priority: a.priority, value: a.value })),
    sessions: sessions.data?.sessions.map((s) => s.code),
    mark: mark.response.status,
    made: made.data?.format,
    refused: refused.response.status,
    unheard: unheard.response.status,
  };
}
