// What can be recorded, and what is asked for it. A field is named after the member
// of the event's payload that it fills.
import { amount, taskName } from './words.js';

const tasksOf = (...families) => (day, job) => {
  const tasks = day.tasks.filter((t) => families.length === 0 || families.includes(t.family));
  const known = (t) => job.tasks.includes(t.task);
  return [...tasks.filter(known), ...tasks.filter((t) => !known(t))].map((t) => ({ key: t.task, name: t.name, near: known(t) }));
};
const people = (day) => day.people.map((p) => ({ key: p.person, name: p.name, near: true }));
const products = (day, job) => day.products.map((p) => ({ key: p.product, name: p.name, near: job.products.includes(p.product) }));
const oneOf = (...pairs) => () => pairs.map(([key, name]) => ({ key, name, near: true }));
const downOf = (day, job) => job.down.map((d) => ({
  key: d.laid, near: true, name: [taskName(day, d.task), amount(d.quantity_milli, d.unit), d.location].filter(Boolean).join(', '),
}));
const openOf = (member) => (day, job) => job[member].map((o) => ({
  key: o.id, near: true, name: [o.item, o.finding, o.location].filter(Boolean).join(', '),
}));

const task = (...families) => ({
  is: 'choice', name: 'task', label: 'Work', need: true, remember: true, options: tasksOf(...families),
});
const quantity = (from, more) => ({ is: 'amount', name: 'quantity_milli', unit: 'unit', from, label: 'Amount', need: true, ...more });
const place = { is: 'text', name: 'location', label: 'Where', chips: (job) => job.places };
const placeNeeded = { ...place, need: true };
const surface = { is: 'token', name: 'surface', label: 'Surface', chips: (job) => [...new Set([...job.surfaces, 'wall', 'ceiling', 'woodwork'])], aside: true, remember: true };
const method = { is: 'token', name: 'method', label: 'Method', chips: (job) => [...new Set([...job.methods, 'brush', 'roller', 'spray'])], aside: true, remember: true };
const product = { is: 'choice', name: 'product', label: 'Product', options: products, remember: true };
const kept = 'Made smaller on this phone. Where and when it was taken is left out.';
const photos = { is: 'photos', name: 'photos', label: 'Photos', many: true, hint: kept };
const day = { is: 'day', name: 'day', label: 'Day', aside: true };
const finding = { is: 'area', name: 'finding', label: 'What is to be seen', need: true };

const type = (name) => `daysheet.${name}.v1`;

// needsProduct says that an amount of a product names it.
const needsProduct = (member) => (data) => (data[member] && !data.product
  ? { field: 'product', text: 'Say which product was used.' } : undefined);

export const kinds = {
  hours: {
    type: type('hours.booked'), title: 'Hours', repeats: true,
    fields: [
      { is: 'choice', name: 'person', label: 'Who', need: true, remember: true, options: people },
      task(),
      { is: 'minutes', name: 'minutes', label: 'Hours', need: true, remember: true, chips: () => ['2:00', '4:00', '6:00', '8:00'] },
      place, day,
    ],
  },
  coat: {
    type: type('coat.applied'), title: 'Coat', repeats: true, check: needsProduct('volume_milli'),
    fields: [
      task('coating'),
      { is: 'whole', name: 'coat', label: 'Which coat', need: true, start: '1', chips: () => ['1', '2', '3'] },
      quantity('task'), place, product,
      { is: 'milli', name: 'volume_milli', label: 'Litres used' },
      surface, method,
      { is: 'text', name: 'batch', label: 'Batch on the tin', aside: true },
      { is: 'milli', name: 'air_celsius_milli', label: 'Air, °C', signed: true, aside: true },
      { is: 'milli', name: 'surface_celsius_milli', label: 'Surface, °C', signed: true, aside: true },
      { is: 'milli', name: 'humidity_percent_milli', label: 'Humidity, %', aside: true, zero: true },
      { is: 'films', name: 'wet_film_um', label: 'Wet film, µm', hint: 'Readings with a space between them', aside: true },
      day,
    ],
  },
  laid: {
    type: type('protection.laid'), title: 'Protection laid', repeats: true, check: needsProduct('product_quantity_milli'),
    fields: [
      task('protection', 'masking'), quantity('task'), place, product,
      { is: 'milli', name: 'product_quantity_milli', label: 'Product used up', hint: 'Leave it empty where it will be laid again' },
      { is: 'tick', name: 'reused', label: 'It was laid before on another job' },
      { is: 'day', name: 'remove_by', label: 'Last day for clean removal', aside: true, empty: true },
      photos, day,
    ],
    finish: (data, known) => {
      const listed = data.product_quantity_milli && known.products.find((p) => p.product === data.product);
      return listed ? { ...data, product_unit: listed.unit } : data;
    },
  },
  lifted: {
    type: type('protection.lifted'), title: 'Protection lifted',
    fields: [
      { is: 'choice', name: 'laid', label: 'What was lifted', need: true, options: downOf },
      { is: 'milli', name: 'quantity_milli', label: 'How much', hint: 'Leave it empty for all of it' },
      day,
    ],
  },
  checked: {
    type: type('protection.checked'), title: 'Protection checked',
    fields: [
      { is: 'choice', name: 'laid', label: 'What was checked', need: true, options: downOf },
      { is: 'text', name: 'finding', label: 'What was seen or mended', need: true, chips: () => ['In order', 'Mended', 'Torn', 'Gone'] },
      { is: 'tick', name: 'sound', label: 'It still protects', start: true },
      day,
    ],
  },
  prepared: {
    type: type('surface.prepared'), title: 'Prepared', repeats: true,
    fields: [task('preparation'), quantity('task'), place, surface, method, day],
  },
  material: {
    type: type('material.used'), title: 'Material used', repeats: true,
    fields: [
      { ...product, need: true }, quantity('product'),
      { ...task(), label: 'For which work', need: false, remember: false, aside: true }, day,
    ],
  },
  returned: {
    type: type('material.returned'), title: 'Material returned',
    fields: [{ ...product, need: true, remember: false }, quantity('product'), day],
  },
  damage: {
    type: type('damage.found'), title: 'Damage',
    fields: [
      placeNeeded, { is: 'text', name: 'item', label: 'What is damaged', need: true }, finding,
      {
        is: 'choice', name: 'cause', label: 'Whose it is', need: true, start: 'unknown',
        options: oneOf(['unknown', 'Not known'], ['ours', 'Ours'], ['others', 'Another trade'], ['before', 'Was there before']),
      },
      photos, day,
    ],
  },
  good: {
    type: type('damage.made-good'), title: 'Damage made good',
    fields: [
      { is: 'choice', name: 'damage', label: 'Which damage', need: true, options: openOf('damage') },
      { is: 'area', name: 'work', label: 'What was done', need: true }, photos, day,
    ],
  },
  snag: {
    type: type('snag.raised'), title: 'Snag',
    fields: [
      placeNeeded, { ...finding, label: 'What is not right yet' },
      {
        is: 'choice', name: 'raised_by', label: 'Who saw it', need: true, start: 'firm',
        options: oneOf(['firm', 'We did'], ['customer', 'The customer']),
      },
      photos, day,
    ],
  },
  cleared: {
    type: type('snag.cleared'), title: 'Snag cleared',
    fields: [
      { is: 'choice', name: 'snag', label: 'Which snag', need: true, options: openOf('snags') },
      { is: 'area', name: 'work', label: 'What was done' }, photos, day,
    ],
  },
  condition: {
    type: type('condition.recorded'), title: 'Condition before',
    fields: [
      placeNeeded, { is: 'text', name: 'item', label: 'What was looked at' }, finding,
      { is: 'tick', name: 'damaged', label: 'It was damaged before we came' }, photos, day,
    ],
  },
  note: {
    type: type('photo.attached'), title: 'Photo and note',
    fields: [
      { is: 'photos', name: 'photo', label: 'Photo', need: true, hint: kept },
      { is: 'area', name: 'caption', label: 'Note' }, day,
    ],
  },
  void: {
    type: type('event.voided'), title: 'Take back', save: 'Take back',
    fields: [
      { is: 'hidden', name: 'event' },
      { is: 'text', name: 'reason', label: 'Why', need: true, chips: () => ['Wrong job', 'Wrong amount', 'Entered twice'] },
    ],
  },
};

// onJob lists the kinds that have a button on the page of a job.
export const onJob = ['hours', 'coat', 'laid', 'lifted', 'checked', 'prepared', 'material', 'returned', 'damage', 'snag', 'condition', 'note'];

export const kindOf = (eventType) => Object.keys(kinds).find((name) => kinds[name].type === eventType);

// reasonText says why the ledger did not take an entry, in the words of its form.
export const reasonText = ({ kind, reason }) => {
  if (!reason) return '';
  const field = kinds[kind]?.fields.find((f) => f.name === reason.field);
  const rule = reason.rule.replace(/(\d+) thousandths/g, (_, milli) => amount(Number(milli)));
  const about = reason.photo ? 'Photo' : field?.label ?? reason.field;
  return about ? `${about}: ${rule}` : rule;
};

export const productUnit = (known, key) => known.products.find((p) => p.product === key)?.unit;
export const taskUnit = (known, key) => known.tasks.find((t) => t.task === key)?.unit;
