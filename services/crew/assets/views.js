// What the pages show. Each returns the content below the heading.
import { h } from './dom.js';
import { kindOf, kinds, onJob, reasonOf } from './kinds.js';
import { dayName } from './numbers.js';
import { photosOf } from './outbox.js';
import { picture } from './photo.js';
import { say } from './say.js';
import { amount, cautionOf, list, says, taskName } from './words.js';

const dueText = (date, today) => {
  if (!date) return '';
  if (date === today) return say('crew.due-today');
  const due = say('crew.due', { day: dayName(date) });
  return date < today ? say('crew.past', { what: due }) : due;
};

const downText = (down, today) => {
  if (down.length === 0) return '';
  const first = down.map((d) => d.remove_by).filter(Boolean).sort()[0];
  const count = down.length === 1 ? say('crew.down.one') : say('crew.down.many', { n: down.length });
  if (!first) return count;
  if (first === today) return say('crew.down.remove-today', { down: count });
  const text = say('crew.down.remove-by', { down: count, day: dayName(first) });
  return first < today ? say('crew.past', { what: text }) : text;
};

const snagsText = (n) => (n === 0 ? '' : n === 1 ? say('crew.snags.one') : say('crew.snags.many', { n }));
const damageText = (n) => (n === 0 ? '' : n === 1 ? say('crew.damage.one') : say('crew.damage.many', { n }));
const stateText = (job) => (job.state === 'running' ? say('crew.running') : say('crew.accepted'));
const isPast = (date, today) => Boolean(date) && date < today;

const jobCard = (job, day, { today } = day) => h('li', { class: 'card' }, h('a', { class: 'job', href: `/crew/jobs/${job.job}` },
  h('h3', {}, job.title || job.job),
  h('p', {}, stateText(job)),
  [[dueText(job.due, today), isPast(job.due, today)], [downText(job.down, today), job.down.some((d) => isPast(d.remove_by, today))],
    ...new Set(job.down.map((d) => cautionOf(day, d.task))).values().map((text) => [text, true]),
    [snagsText(job.snags.length)], [damageText(job.damage.length)]]
    .filter(([text]) => text).map(([text, past]) => h('p', { class: past && 'problem' }, text))));

const who = (day, me, choose) => {
  if (day.people.length === 0) return undefined;
  return h('div', { class: 'field' }, h('label', { for: 'me' }, say('crew.used-by')),
    h('select', { id: 'me', onchange: (event) => choose(event.target.value) },
      h('option', { value: '' }, say('crew.several-people')),
      day.people.map((p) => h('option', { value: p.person, selected: p.person === me }, p.name))));
};

export const todayView = ({ day, jobs, me, chooseMe }) => [
  h('p', {}, `${dayName(day.today)}, ${day.name}`),
  h('h2', {}, say('crew.jobs')),
  jobs.length === 0 && h('p', {}, say('crew.jobs.none')),
  h('ul', { class: 'list' }, jobs.map((job) => jobCard(job, day))),
  day.more && h('p', {}, say('crew.jobs.more', { n: day.more })),
  who(day, me, chooseMe),
];

const pictures = (data) => {
  const photos = photosOf(data);
  return photos.length > 0 && h('ul', { class: 'photos' }, photos.map((sha256, n) => h('li', {}, picture(sha256, n))));
};

const entry = (day, e, actions) => {
  const kind = kindOf(e.type);
  return h('li', { class: 'card', 'data-entry': e.id }, h('p', {}, says(day, kind, e.data)), pictures(e.data),
    h('p', { class: 'hint' }, e.waiting ? say('crew.waits') : say('crew.in-ledger')),
    h('div', { class: 'actions' }, actions));
};

const link = (hash, text, about) => h('a', { class: 'button quiet', href: `#${hash}` }, text,
  about && h('span', { class: 'visually-hidden' }, `: ${about}`));

const section = (title, content) => (content.length === 0 ? [] : [h('h2', {}, title), h('ul', { class: 'list' }, content)]);

const removeBy = (date, today) => {
  const text = say('crew.remove-by', { day: dayName(date) });
  return isPast(date, today) ? h('p', { class: 'problem' }, say('crew.past', { what: text })) : h('p', { class: 'hint' }, text);
};

const caution = (day, task) => cautionOf(day, task) && h('p', { class: 'problem' }, cautionOf(day, task));

export const jobView = ({ day, job, repeatHours }) => {
  const about = (e) => says(day, kindOf(e.type), e.data);
  const back = (e) => link(`void=${e.id}`, say('crew.take-back'), about(e));
  const again = (e) => kinds[kindOf(e.type)]?.repeats && link(`again=${e.id}`, say('crew.same-again'), about(e));
  const isHours = (e) => kindOf(e.type) === 'hours';
  const hoursBefore = job.today.some(isHours) ? [] : job.last.filter(isHours);
  const openItem = (o, hash, text) => h('li', { class: 'card' },
    h('p', {}, list(o.item, o.finding, o.location)),
    h('div', { class: 'actions' }, link(`${hash}=${o.id}`, text, o.finding)));
  return [
    h('p', {}, [stateText(job), dueText(job.due, day.today)].filter(Boolean).join('. ')),
    h('h2', {}, say('crew.record')),
    h('ul', { class: 'kinds' }, onJob.map((name) => h('li', {}, h('a', { class: 'button', href: `#${name}` }, kinds[name].title)))),
    hoursBefore.length > 0 && h('button', { id: 'repeat', class: 'quiet wide', onclick: (event) => repeatHours(hoursBefore, event.currentTarget) },
      hoursBefore.length === 1 ? say('crew.same-hours.one', { day: dayName(hoursBefore[0].day) })
        : say('crew.same-hours.many', { n: hoursBefore.length, day: dayName(hoursBefore[0].day) })),
    ...section(say('crew.still-down'), job.down.map((d) => {
      const what = list(taskName(day, d.task), amount(d.quantity_milli, d.unit), d.location);
      return h('li', { class: 'card' }, h('p', {}, what), caution(day, d.task),
        d.remove_by && removeBy(d.remove_by, day.today),
        h('div', { class: 'actions' }, link(`lifted=${d.laid}`, say('crew.lifted'), what), link(`checked=${d.laid}`, say('crew.checked'), what)));
    })),
    ...section(say('crew.open-snags'), job.snags.map((s) => openItem(s, 'cleared', say('crew.cleared')))),
    ...section(say('crew.damage'), job.damage.map((d) => openItem(d, 'good', say('crew.made-good')))),
    h('p', {}, h('a', { class: 'button quiet wide', href: `/crew/jobs/${job.job}/sign-off` }, say('crew.sign-off'))),
    ...section(say('crew.today'), job.today.map((e) => entry(day, e, [back(e)]))),
    ...section(job.last.length > 0 ? dayName(job.last[0].day) : '', job.last.map((e) => entry(day, e, [again(e), back(e)]))),
  ];
};

const itemLine = (day, item) => {
  const text = day ? says(day, item.kind, item.event.data) : kinds[item.kind]?.title;
  const job = day?.jobs.find((j) => j.job === item.event.subject)?.title ?? item.event.subject;
  return [h('p', {}, text), pictures(item.event.data), h('p', { class: 'hint' }, 
    say('crew.when', { job, day: dayName(item.event.time.slice(0, 10)), time: item.event.time.slice(11, 16) }))];
};

// why says why an entry was not taken. Its rule is in the language of the ledger.
export const why = (item) => {
  const { about, rule } = reasonOf(item);
  return h('p', { class: 'problem' }, say('crew.not-taken.why', { why: about && `${about}: ` }), h('span', { lang: 'en' }, rule));
};

export const outboxView = ({ day, items, act }) => {
  const of = (state) => items.filter((i) => i.state === state);
  const rejected = of('rejected').map((item) => h('li', { class: 'card', 'data-seq': item.seq },
    ...itemLine(day, item), why(item),
    h('div', { class: 'actions' },
      day && link(`edit=${item.seq}`, say('crew.change')),
      h('button', { class: 'quiet', onclick: () => act.again(item) }, say('crew.send-again')),
      h('button', { class: 'quiet', onclick: () => act.export([item]) }, say('crew.save-file')),
      h('button', { class: 'quiet', onclick: (event) => {
        if (event.target.dataset.sure) act.discard(item);
        event.target.dataset.sure = 'yes';
        event.target.textContent = say('crew.really-delete');
      } }, say('crew.delete')))));
  const waiting = of('waiting').map((item) => h('li', { class: 'card', 'data-seq': item.seq }, ...itemLine(day, item)));
  const done = of('done').reverse().slice(0, 20).map((item) => h('li', { class: 'card' }, ...itemLine(day, item)));
  const held = [...of('rejected'), ...of('waiting')];
  return [
    rejected.length + waiting.length === 0 && h('p', {}, say('crew.nothing-waits')),
    ...section(say('crew.not-taken'), rejected),
    ...section(say('crew.waiting'), waiting),
    held.length > 0 && h('div', { class: 'actions' },
      h('button', { id: 'send', onclick: act.send }, say('crew.send-now')),
      h('button', { class: 'quiet', id: 'export', onclick: () => act.export(held) }, say('crew.save-all'))),
    ...section(say('crew.sent'), done),
  ];
};

// helpView ends with what only who signed in by name has: a password, and a way out.
export const helpView = (day) => [
  document.getElementById('help').content.cloneNode(true),
  ...(day?.person ? [
    h('h2', {}, say('crew.access')),
    h('p', {}, say('crew.access.unsent')),
    h('p', {}, h('a', { class: 'button', href: '/password' }, say('crew.password.change'))),
    h('form', { method: 'post', action: '/sign-out' }, h('button', { class: 'quiet' }, say('crew.sign-out'))),
  ] : []),
];
