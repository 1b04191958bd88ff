// What the ledger knows of the day, and on top of it what this phone has recorded
// since: a floor that was covered an hour ago can be uncovered without a connection.
import { cautionOf } from './words.js';

// fetchDay returns the list, with kept set to when it was read if there was no
// connection; the status alone where the phone may not have it.
export const fetchDay = async () => {
  try {
    const response = await fetch('/v1/crew/day', { headers: { Accept: 'application/json' } });
    if (response.status === 401 || response.status === 403) return { refused: true };
    if (!response.ok) return {};
    return { day: await response.json(), kept: response.headers.get('Kept-Since') };
  } catch {
    return {};
  }
};

const entryOf = ({ event, seq, state }) => ({
  id: event.id, type: event.type, time: event.time, day: event.data.day ?? event.time.slice(0, 10), data: event.data,
  seq: state === 'waiting' ? seq : undefined, waiting: state === 'waiting',
});

// withOutbox returns a job with what waits, or was sent after the list was made.
export const withOutbox = (job, day, items) => {
  const newer = items.filter((i) => i.firm === day.firm && i.event.subject === job.job && i.state !== 'rejected' &&
    !(i.state === 'done' && i.sequence <= day.as_of));
  const voided = new Set(newer.filter((i) => i.kind === 'void').map((i) => i.event.data.event));
  const holds = (id) => !voided.has(id);
  const now = {
    ...job,
    down: job.down.filter((d) => holds(d.laid)).map((d) => ({ ...d })),
    damage: job.damage.filter((d) => holds(d.id)),
    snags: job.snags.filter((s) => holds(s.id)),
    today: job.today.filter((e) => holds(e.id)),
    last: job.last.filter((e) => holds(e.id)),
  };
  for (const item of newer) {
    const { event: { id, data }, kind } = item;
    if (!holds(id) || kind === 'void') continue;
    if (kind === 'laid') now.down.push({ laid: id, ...data });
    if (kind === 'damage') now.damage.push({ id, ...data });
    if (kind === 'snag') now.snags.push({ id, ...data });
    if (kind === 'good') now.damage = now.damage.filter((d) => d.id !== data.damage);
    if (kind === 'cleared') now.snags = now.snags.filter((s) => s.id !== data.snag);
    if (kind === 'lifted') {
      const laid = now.down.find((d) => d.laid === data.laid);
      if (laid) laid.quantity_milli -= data.quantity_milli ?? laid.quantity_milli;
      now.down = now.down.filter((d) => d.quantity_milli > 0);
    }
    now.today.push(entryOf(item));
  }
  const danger = (d) => (cautionOf(day, d.task) ? 0 : 1);
  now.down.sort((a, b) => danger(a) - danger(b)); // what can hurt somebody first, whoever recorded it
  return now;
};
