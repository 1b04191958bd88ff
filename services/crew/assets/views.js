// What the pages show. Each returns the content below the heading.
import { h } from './dom.js';
import { kindOf, kinds, onJob, reasonText } from './kinds.js';
import { photosOf } from './outbox.js';
import { picture } from './photo.js';
import { amount, dayName, says, taskName } from './words.js';

const past = ': that is past';

const dueText = (date, today) => {
  if (!date) return '';
  if (date < today) return `Due ${dayName(date)}${past}`;
  return date === today ? 'Due today' : `Due ${dayName(date)}`;
};

const downText = (down, today) => {
  if (down.length === 0) return '';
  const first = down.map((d) => d.remove_by).filter(Boolean).sort()[0];
  const count = down.length === 1 ? '1 protection still down' : `${down.length} protections still down`;
  if (!first) return count;
  if (first === today) return `${count}, remove today`;
  return `${count}, remove by ${dayName(first)}${first < today ? past : ''}`;
};

const openText = (list, one, many) => (list.length === 0 ? '' : `${list.length} ${list.length === 1 ? one : many}`);

const jobCard = (job, today) => h('li', { class: 'card' }, h('a', { class: 'job', href: `/crew/jobs/${job.job}` },
  h('h3', {}, job.title || job.job),
  h('p', {}, job.state === 'running' ? 'Running' : 'Accepted, not begun'),
  [dueText(job.due, today), downText(job.down, today), openText(job.snags, 'open snag', 'open snags'),
    openText(job.damage, 'damage to make good', 'damages to make good')]
    .filter(Boolean).map((text) => h('p', { class: text.endsWith(past) && 'problem' }, text))));

const who = (day, me, choose) => {
  if (day.people.length === 0) return undefined;
  return h('div', { class: 'field' }, h('label', { for: 'me' }, 'This phone is used by'),
    h('select', { id: 'me', onchange: (event) => choose(event.target.value) },
      h('option', { value: '' }, 'Several people'),
      day.people.map((p) => h('option', { value: p.person, selected: p.person === me }, p.name))));
};

export const todayView = ({ day, jobs, me, chooseMe }) => [
  h('p', {}, `${dayName(day.today)}, ${day.name}`),
  h('h2', {}, 'Jobs'),
  jobs.length === 0 && h('p', {}, 'No job is running or accepted. A job is here once the office has opened it and its estimate is accepted.'),
  h('ul', { class: 'list' }, jobs.map((job) => jobCard(job, day.today))),
  day.more && h('p', {}, `${day.more} jobs that are due later are not shown.`),
  who(day, me, chooseMe),
];

const pictures = (data) => {
  const photos = photosOf(data);
  return photos.length > 0 && h('ul', { class: 'photos' }, photos.map((sha256, n) => h('li', {}, picture(sha256, n))));
};

const entry = (day, e, actions) => {
  const kind = kindOf(e.type);
  return h('li', { class: 'card', 'data-entry': e.id }, h('p', {}, says(day, kind, e.data)), pictures(e.data),
    h('p', { class: 'hint' }, e.waiting ? 'Waits to be sent' : 'In the ledger'),
    h('div', { class: 'actions' }, actions));
};

const link = (hash, text, about) => h('a', { class: 'button quiet', href: `#${hash}` }, text,
  about && h('span', { class: 'visually-hidden' }, `: ${about}`));

const section = (title, content) => (content.length === 0 ? [] : [h('h2', {}, title), h('ul', { class: 'list' }, content)]);

export const jobView = ({ day, job, repeatHours }) => {
  const about = (e) => says(day, kindOf(e.type), e.data);
  const back = (e) => link(`void=${e.id}`, 'Take back', about(e));
  const again = (e) => kinds[kindOf(e.type)]?.repeats && link(`again=${e.id}`, 'Same again', about(e));
  const isHours = (e) => kindOf(e.type) === 'hours';
  const hoursBefore = job.today.some(isHours) ? [] : job.last.filter(isHours);
  const openItem = (o, hash, text) => h('li', { class: 'card' },
    h('p', {}, [o.item, o.finding, o.location].filter(Boolean).join(', ')),
    h('div', { class: 'actions' }, link(`${hash}=${o.id}`, text, o.finding)));
  return [
    h('p', {}, [job.state === 'running' ? 'Running' : 'Accepted, not begun', dueText(job.due, day.today)].filter(Boolean).join('. ')),
    h('h2', {}, 'Record'),
    h('ul', { class: 'kinds' }, onJob.map((name) => h('li', {}, h('a', { class: 'button', href: `#${name}` }, kinds[name].title)))),
    hoursBefore.length > 0 && h('button', { id: 'repeat', class: 'quiet wide', onclick: (event) => repeatHours(hoursBefore, event.currentTarget) },
      hoursBefore.length === 1 ? `Same hours as on ${dayName(hoursBefore[0].day)}` : `All ${hoursBefore.length} hours as on ${dayName(hoursBefore[0].day)}`),
    ...section('Still down', job.down.map((d) => {
      const what = [taskName(day, d.task), amount(d.quantity_milli, d.unit), d.location].filter(Boolean).join(', ');
      return h('li', { class: 'card' }, h('p', {}, what),
        d.remove_by && h('p', { class: d.remove_by < day.today ? 'problem' : 'hint' },
          `Remove by ${dayName(d.remove_by)}${d.remove_by < day.today ? past : ''}`),
        h('div', { class: 'actions' }, link(`lifted=${d.laid}`, 'Lifted', what), link(`checked=${d.laid}`, 'Checked', what)));
    })),
    ...section('Open snags', job.snags.map((s) => openItem(s, 'cleared', 'Cleared'))),
    ...section('Damage', job.damage.map((d) => openItem(d, 'good', 'Made good'))),
    h('p', {}, h('a', { class: 'button quiet wide', href: `/crew/jobs/${job.job}/sign-off` }, 'Sign off with the customer')),
    ...section('Today', job.today.map((e) => entry(day, e, [back(e)]))),
    ...section(job.last.length > 0 ? dayName(job.last[0].day) : '', job.last.map((e) => entry(day, e, [again(e), back(e)]))),
  ];
};

const itemLine = (day, item) => {
  const text = day ? says(day, item.kind, item.event.data) : kinds[item.kind]?.title;
  const job = day?.jobs.find((j) => j.job === item.event.subject)?.title ?? item.event.subject;
  return [h('p', {}, text), pictures(item.event.data), h('p', { class: 'hint' }, `${job}, ${dayName(item.event.time.slice(0, 10))}, ${item.event.time.slice(11, 16)}`)];
};

export const outboxView = ({ day, items, act }) => {
  const of = (state) => items.filter((i) => i.state === state);
  const rejected = of('rejected').map((item) => h('li', { class: 'card', 'data-seq': item.seq },
    ...itemLine(day, item), h('p', { class: 'problem' }, `Not taken: ${reasonText(item)}`),
    h('div', { class: 'actions' },
      day && link(`edit=${item.seq}`, 'Change'),
      h('button', { class: 'quiet', onclick: () => act.again(item) }, 'Send again'),
      h('button', { class: 'quiet', onclick: () => act.export([item]) }, 'Save as a file'),
      h('button', { class: 'quiet', onclick: (event) => {
        if (event.target.dataset.sure) act.discard(item);
        event.target.dataset.sure = 'yes';
        event.target.textContent = 'Really delete';
      } }, 'Delete'))));
  const waiting = of('waiting').map((item) => h('li', { class: 'card', 'data-seq': item.seq }, ...itemLine(day, item)));
  const done = of('done').reverse().slice(0, 20).map((item) => h('li', { class: 'card' }, ...itemLine(day, item)));
  const held = [...of('rejected'), ...of('waiting')];
  return [
    rejected.length + waiting.length === 0 && h('p', {}, 'Nothing waits. Everything that was recorded on this phone is in the ledger.'),
    ...section('Not taken', rejected),
    ...section('Waiting', waiting),
    held.length > 0 && h('div', { class: 'actions' },
      h('button', { id: 'send', onclick: act.send }, 'Send now'),
      h('button', { class: 'quiet', id: 'export', onclick: () => act.export(held) }, 'Save all as a file')),
    ...section('Sent', done),
  ];
};

export const helpView = () => [document.getElementById('help').content.cloneNode(true)];
