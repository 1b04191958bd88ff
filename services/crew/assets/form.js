// A form of one kind of entry. Whatever stands in it is kept at every change, so that
// nothing has to be typed twice.
import { h } from './dom.js';
import { sorts } from './fields.js';
import { kinds, productUnit, taskUnit } from './kinds.js';
import { stamp } from './outbox.js';
import { say } from './say.js';
import { put, read } from './store.js';
import { cautionOf } from './words.js';

// What is typed goes to disk in turn; while one draft is written the next waits, and
// only the newest of those that wait. settled is done when nothing waits any more.
let keeping = Promise.resolve();
let newest;
export const settled = () => keeping;

const keepDraft = (draft) => {
  const waiting = newest !== undefined;
  newest = draft;
  if (waiting) return;
  const write = () => {
    const next = newest;
    newest = undefined;
    return put('drafts', next);
  };
  keeping = keeping.catch(() => {}).then(write); // a failure is told once, by the page
};

// rawOf turns a payload back into what stands in the fields.
export const rawOf = (kind, data, eventDay) => {
  const raw = {};
  for (const field of kinds[kind].fields) {
    if (data[field.name] !== undefined) raw[field.name] = sorts[field.is].decode(data[field.name]);
    if (field.unit) raw[field.unit] = data[field.unit];
  }
  raw.day ??= eventDay;
  return raw;
};

const collect = (form, fields) => {
  const raw = {};
  for (const field of fields) {
    raw[field.name] = sorts[field.is].read(form, field);
    if (field.unit) raw[field.unit] = new FormData(form).get(field.unit);
  }
  return raw;
};

// encode returns the payload, and what is wrong by field.
const encode = (kind, raw, day, eventDay) => {
  const { fields, finish, check } = kinds[kind];
  let data = {};
  const wrong = [];
  for (const field of fields) {
    try {
      const value = sorts[field.is].encode(raw[field.name], field);
      if (value !== undefined) {
        data[field.name] = value;
        if (field.unit) data[field.unit] = raw[field.unit];
      } else if (field.need) wrong.push({ field: field.name, text: say('crew.wrong.missing', { label: field.label }) });
    } catch (failure) {
      wrong.push({ field: field.name, text: failure.message });
    }
  }
  if (data.day === eventDay) delete data.day;
  const more = check?.(data);
  if (more) wrong.push(more);
  if (finish) data = finish(data, day);
  return { data, wrong };
};

const showWrong = (form, wrong) => {
  form.querySelectorAll('.problem[data-of]').forEach((p) => p.remove());
  form.querySelectorAll('[aria-invalid]').forEach((e) => { e.removeAttribute('aria-invalid'); e.removeAttribute('aria-errormessage'); });
  for (const { field, text } of wrong) {
    const target = form.querySelector(`#f-${field}`);
    const id = `f-${field}-problem`;
    target.closest('.field').append(h('p', { class: 'problem', id, 'data-of': field, role: 'alert' }, text));
    const inputs = target.matches('fieldset') ? [] : [target];
    inputs.forEach((e) => { e.setAttribute('aria-invalid', 'true'); e.setAttribute('aria-errormessage', id); });
  }
  const first = wrong.length > 0 && form.querySelector(`#f-${wrong[0].field}`);
  if (!first) return;
  const aside = first.closest('details');
  if (aside) aside.open = true;
  (first.matches('fieldset') ? first.querySelector('input') ?? first : first).focus();
};

// remembered returns what was used last with this kind, and who uses the phone.
const remembered = async (kind) => {
  const last = (await read('kept', `last:${kind}`))?.values ?? {};
  const me = (await read('kept', 'me'))?.person;
  return me ? { ...last, person: me } : last;
};

// toRemember is what a saved form leaves behind for the next one.
const toRemember = (kind, raw) => {
  const values = {};
  for (const field of kinds[kind].fields) {
    if (!field.remember) continue;
    values[field.name] = raw[field.name];
  }
  if (raw.unit) values.unit = raw.unit;
  return values;
};

const starting = (kind) => Object.fromEntries(kinds[kind].fields.filter((f) => f.start).map((f) => [f.name, f.start]));

// unitFollows sets the unit that is usual for what was chosen.
const unitFollows = (form, fields, day) => {
  const field = fields.find((f) => f.unit);
  if (!field) return;
  const chosen = new FormData(form).get(field.from);
  const unit = field.from === 'task' ? taskUnit(day, chosen) : productUnit(day, chosen);
  if (unit) form.elements.namedItem(field.unit).value = unit;
};

// cautionFollows says below what was chosen what to mind about it.
const cautionFollows = (form, fields, day) => {
  const field = fields.find((f) => f.cautions);
  if (!field) return;
  const said = form.querySelector('[data-caution]') ?? h('p', { class: 'problem', role: 'status', 'data-caution': field.name });
  if (!said.parentNode) form.querySelector(`#f-${field.name}`).append(said);
  said.textContent = cautionOf(day, new FormData(form).get(field.name)) ?? '';
};

// makeForm returns the form. key names its draft; start is what stands in it at first;
// eventDay is the day of the event where it is mended, else today. save gets the
// payload, the key and what to remember.
export const makeForm = async ({ kind, day, job, key, start = {}, eventDay, save }) => {
  const { fields, title, save: verb = say('crew.save') } = kinds[kind];
  const draft = await read('drafts', key);
  const today = stamp().slice(0, 10);
  const values = draft?.values ?? { day: today, ...starting(kind), ...(await remembered(kind)), ...start };
  const form = h('form', { novalidate: true, 'data-kind': kind, 'aria-label': title });
  const keep = () => keepDraft({ key, values: collect(form, fields), at: Date.now() });
  const context = { day, job, values, changed: keep };
  const shown = (aside) => fields.filter((f) => Boolean(f.aside) === aside)
    .map((f) => sorts[f.is].show(f, values[f.name], context));
  const aside = shown(true);
  const button = h('button', { type: 'submit', class: 'save' }, verb);
  form.append(...shown(false), ...(aside.length > 0 ? [h('details', {}, h('summary', {}, say('crew.more')), ...aside)] : []), button);
  if (!values.unit) unitFollows(form, fields, day);
  cautionFollows(form, fields, day);
  form.addEventListener('input', (event) => {
    const field = fields.find((f) => f.unit);
    if (field && event.target.name === field.from) unitFollows(form, fields, day);
    cautionFollows(form, fields, day);
    keep();
  });
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    if (button.disabled) return; // tapped twice
    const raw = collect(form, fields);
    const { data, wrong } = encode(kind, raw, day, eventDay ?? stamp().slice(0, 10));
    showWrong(form, wrong);
    if (wrong.length > 0) return;
    button.disabled = true;
    await settled().catch(() => {}); // or a late draft would come back after the save
    try {
      await save({ data, key, remember: toRemember(kind, raw) });
    } finally {
      button.disabled = false;
    }
  });
  return form;
};
