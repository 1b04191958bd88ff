// How each sort of field is shown, read and written. What stands in a field is raw:
// text as it was typed, true or false, or a list. encode makes a member of the payload
// of it, or throws what is wrong; decode is the way back.
import { h } from './dom.js';
import { keepPhoto, picture } from './photo.js';
import { hours, inField, readMinutes, readThousandths } from './numbers.js';
import { say } from './say.js';
import { unitName } from './words.js';

const idOf = (field) => `f-${field.name}`;

const label = (field) => h('label', { for: idOf(field) }, field.need ? field.label : say('crew.optional', { label: field.label }));

const input = (field, raw, more = {}) => h('input', {
  id: idOf(field), name: field.name, value: raw ?? '', autocomplete: 'off', 'aria-required': field.need ? 'true' : undefined, ...more,
});

const hint = (field) => field.hint && h('p', { class: 'hint', id: `${idOf(field)}-hint` }, field.hint);

// chips fill a field with one tap.
const chips = (field, context) => {
  const texts = (field.chips?.(context.job) ?? []).slice(0, 6);
  if (texts.length === 0) return undefined;
  const fill = (text) => () => {
    const target = document.getElementById(idOf(field));
    target.value = text;
    target.dispatchEvent(new Event('input', { bubbles: true }));
  };
  return h('div', { class: 'choices', role: 'group', 'aria-label': say('crew.fill-in', { label: field.label }) },
    texts.map((text) => h('button', { type: 'button', onclick: fill(text) }, text)));
};

const line = (more) => (field, raw, context) => h('div', { class: 'field' },
  label(field), hint(field), input(field, raw, more), chips(field, context));

const valueOf = (form, field) => new FormData(form).get(field.name) ?? '';

const radio = (field, raw, option) => h('label', {},
  h('input', { type: 'radio', name: field.name, value: option.key, checked: option.key === (raw ?? '') }),
  h('span', {}, option.name));

// fewOptions is how many are shown at once, near or not.
const fewOptions = 8;

// choice shows what is near at once, and the rest behind one more tap.
const choice = (field, raw, { day, job }) => {
  const options = field.options(day, job);
  const few = options.length <= fewOptions || !options.some((o) => o.near);
  const near = options.filter((o) => few || o.near || o.key === raw);
  if (!field.need && options.length > 0) near.unshift({ key: '', name: say('crew.not-said') });
  const far = options.filter((o) => !near.includes(o));
  return h('fieldset', { class: 'field', id: idOf(field) }, h('legend', {}, field.label),
    options.length === 0 && h('p', { class: 'hint' }, say('crew.nothing-to-choose')),
    h('div', { class: 'choices' }, near.map((o) => radio(field, raw, o))),
    far.length > 0 && h('details', {}, h('summary', {}, say('crew.others')),
      h('div', { class: 'choices' }, far.map((o) => radio(field, raw, o)))));
};

const amountField = (field, raw, { day, values }) => h('div', { class: 'field' }, label(field),
  h('div', { class: 'pair' }, input(field, raw, { inputmode: 'decimal' }),
    h('select', { name: field.unit, id: `f-${field.unit}`, 'aria-label': say('crew.unit') },
      day.units.map((u) => h('option', { value: u, selected: u === values[field.unit] }, unitName(u))))));

const photos = (field, raw, context) => {
  const digests = [...(raw ?? [])];
  const pictures = h('ul', { class: 'photos' });
  const holder = h('div', { class: 'field', 'data-photos': field.name });
  const problem = h('p', { class: 'problem', role: 'alert' });
  const draw = () => {
    holder.dataset.digests = digests.join(' ');
    pictures.replaceChildren(...digests.map((sha256, n) => {
      const drop = () => { digests.splice(n, 1); draw(); context.changed(); };
      return h('li', {}, picture(sha256, n), h('button', { type: 'button', class: 'quiet', onclick: drop }, say('crew.remove-photo', { n: n + 1 })));
    }));
  };
  const take = async (event) => {
    const chosen = [...event.target.files];
    problem.textContent = '';
    for (const file of chosen) {
      try {
        const sha256 = await keepPhoto(file);
        if (!field.many) digests.length = 0;
        if (!digests.includes(sha256)) digests.push(sha256);
      } catch (failure) {
        problem.textContent = say('crew.photo-failed', { why: failure.message });
      }
    }
    event.target.value = '';
    draw();
    context.changed();
  };
  holder.append(label(field), hint(field), h('input', {
    id: idOf(field), type: 'file', accept: 'image/*', capture: 'environment', multiple: field.many, onchange: take,
    'aria-describedby': `${idOf(field)}-hint`,
  }), problem, pictures);
  draw();
  return holder;
};

const digestsOf = (form, field) => (form.querySelector(`[data-photos="${field.name}"]`).dataset.digests.split(' ').filter(Boolean));

// plainLetters writes letters with marks as keys have them: ä as ae, é as e.
const plainLetters = (text) => text.replace(/[äöü]/g, (letter) => `${letter}e`).replaceAll('ß', 'ss').normalize('NFD').replace(/\p{M}/gu, '');

const plain = { read: valueOf, encode: (raw) => raw.trim() || undefined, decode: (value) => value };

export const sorts = {
  text: { ...plain, show: line({ maxlength: 120 }) },
  area: {
    ...plain, show: (field, raw) => h('div', { class: 'field' }, label(field),
      h('textarea', { id: idOf(field), name: field.name, rows: 2, maxlength: 2000 }, raw ?? '')),
  },
  token: {
    ...plain, show: line({ maxlength: 64, autocapitalize: 'none' }),
    encode: (raw) => plainLetters(raw.trim().toLowerCase()).replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '') || undefined,
  },
  hidden: { ...plain, show: (field, raw) => h('input', { type: 'hidden', name: field.name, value: raw ?? '' }) },
  choice: { ...plain, show: choice },
  minutes: {
    show: line({ inputmode: 'decimal' }), read: valueOf, decode: hours,
    encode: (raw) => (raw.trim() ? readMinutes(raw) : undefined),
  },
  milli: {
    show: line({ inputmode: 'decimal' }), read: valueOf, decode: inField,
    encode: (raw, field) => (raw.trim() ? readThousandths(raw, field) : undefined),
  },
  amount: {
    show: amountField, read: valueOf, decode: inField,
    encode: (raw, field) => (raw.trim() ? readThousandths(raw, field) : undefined),
  },
  whole: {
    show: line({ inputmode: 'numeric' }), read: valueOf, decode: String,
    encode: (raw) => {
      if (!raw.trim()) return undefined;
      if (!/^\d{1,4}$/.test(raw.trim())) throw new Error(say('crew.wrong.whole'));
      return Number(raw);
    },
  },
  films: {
    show: line({ inputmode: 'numeric' }), read: valueOf, decode: (list) => list.join(' '),
    encode: (raw) => {
      const texts = raw.split(/[\s,;]+/).filter(Boolean);
      if (texts.some((t) => !/^\d{1,5}$/.test(t))) throw new Error(say('crew.wrong.wholes'));
      return texts.length > 0 ? texts.map(Number) : undefined;
    },
  },
  tick: {
    show: (field, raw) => h('label', { class: 'field tick' },
      h('input', { type: 'checkbox', id: idOf(field), name: field.name, checked: Boolean(raw) }), field.label),
    read: (form, field) => form.elements.namedItem(field.name).checked,
    encode: (raw) => raw || undefined, decode: Boolean,
  },
  day: { ...plain, show: line({ type: 'date' }) },
  photos: {
    show: photos, read: digestsOf,
    encode: (raw, field) => (raw.length === 0 ? undefined : field.many ? raw : raw[0]),
    decode: (value) => [value].flat(),
  },
};
