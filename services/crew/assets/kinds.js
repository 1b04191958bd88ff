// What can be recorded, and what is asked for it. A field is named after the member
// of the event's payload that it fills.
import { say } from './say.js';
import { amount, list, taskName } from './words.js';

const tasksOf = (...families) => (day, job) => {
  const tasks = day.tasks.filter((t) => families.length === 0 || families.includes(t.family));
  const known = (t) => job.tasks.includes(t.task);
  return [...tasks.filter(known), ...tasks.filter((t) => !known(t))].map((t) => ({ key: t.task, name: t.name, near: known(t) }));
};
const people = (day) => day.people.map((p) => ({ key: p.person, name: p.name, near: true }));
const products = (day, job) => day.products.map((p) => ({ key: p.product, name: p.name, near: job.products.includes(p.product) }));
const oneOf = (...pairs) => () => pairs.map(([key, name]) => ({ key, name, near: true }));
const downOf = (day, job) => job.down.map((d) => ({
  key: d.laid, near: true, name: list(taskName(day, d.task), amount(d.quantity_milli, d.unit), d.location),
}));
const openOf = (member) => (day, job) => job[member].map((o) => ({
  key: o.id, near: true, name: list(o.item, o.finding, o.location),
}));

const task = (...families) => ({
  is: 'choice', name: 'task', label: say('crew.field.task'), need: true, remember: true, options: tasksOf(...families),
});
const quantity = (from, more) => ({ is: 'amount', name: 'quantity_milli', unit: 'unit', from, label: say('crew.field.amount'), need: true, ...more });
const place = { is: 'text', name: 'location', label: say('crew.field.where'), chips: (job) => job.places };
const placeNeeded = { ...place, need: true };
const surface = { is: 'token', name: 'surface', label: say('crew.field.surface'), chips: (job) => [...new Set([...job.surfaces, say('crew.chip.wall'), say('crew.chip.ceiling'), say('crew.chip.woodwork')])], aside: true, remember: true };
const method = { is: 'token', name: 'method', label: say('crew.field.method'), chips: (job) => [...new Set([...job.methods, say('crew.chip.brush'), say('crew.chip.roller'), say('crew.chip.spray')])], aside: true, remember: true };
const product = { is: 'choice', name: 'product', label: say('crew.field.product'), options: products, remember: true };
const kept = say('crew.field.photos.hint');
const photos = { is: 'photos', name: 'photos', label: say('crew.field.photos'), many: true, hint: kept };
const day = { is: 'day', name: 'day', label: say('crew.field.day'), aside: true };
const finding = { is: 'area', name: 'finding', label: say('crew.field.finding'), need: true };

const type = (name) => `daysheet.${name}.v1`;

// needsProduct says that an amount of a product names it.
const needsProduct = (member) => (data) => (data[member] && !data.product
  ? { field: 'product', text: say('crew.wrong.product') } : undefined);

export const kinds = {
  hours: {
    type: type('hours.booked'), title: say('crew.hours'), repeats: true,
    fields: [
      { is: 'choice', name: 'person', label: say('crew.field.person'), need: true, remember: true, options: people },
      task(),
      { is: 'minutes', name: 'minutes', label: say('crew.hours'), need: true, remember: true, chips: () => ['2:00', '4:00', '6:00', '8:00'] },
      place, day,
    ],
  },
  coat: {
    type: type('coat.applied'), title: say('crew.coat'), repeats: true, check: needsProduct('volume_milli'),
    fields: [
      task('coating'),
      { is: 'whole', name: 'coat', label: say('crew.field.coat'), need: true, start: '1', chips: () => ['1', '2', '3'] },
      quantity('task'), place, product,
      { is: 'milli', name: 'volume_milli', label: say('crew.field.litres') },
      surface, method,
      { is: 'text', name: 'batch', label: say('crew.field.batch'), aside: true },
      { is: 'milli', name: 'air_celsius_milli', label: say('crew.field.air'), signed: true, aside: true },
      { is: 'milli', name: 'surface_celsius_milli', label: say('crew.field.surface-temperature'), signed: true, aside: true },
      { is: 'milli', name: 'humidity_percent_milli', label: say('crew.field.humidity'), aside: true, zero: true },
      { is: 'films', name: 'wet_film_um', label: say('crew.field.wet-film'), hint: say('crew.field.wet-film.hint'), aside: true },
      day,
    ],
  },
  laid: {
    type: type('protection.laid'), title: say('crew.laid'), repeats: true, check: needsProduct('product_quantity_milli'),
    fields: [
      { ...task('protection', 'masking'), cautions: true }, quantity('task'), place, product,
      { is: 'milli', name: 'product_quantity_milli', label: say('crew.field.used-up'), hint: say('crew.field.used-up.hint') },
      { is: 'tick', name: 'reused', label: say('crew.field.reused') },
      { is: 'day', name: 'remove_by', label: say('crew.field.remove-by'), aside: true, empty: true },
      photos, day,
    ],
    finish: (data, known) => {
      const listed = data.product_quantity_milli && known.products.find((p) => p.product === data.product);
      return listed ? { ...data, product_unit: listed.unit } : data;
    },
  },
  lifted: {
    type: type('protection.lifted'), title: say('crew.lifting'),
    fields: [
      { is: 'choice', name: 'laid', label: say('crew.field.lifted'), need: true, options: downOf },
      { is: 'milli', name: 'quantity_milli', label: say('crew.field.how-much'), hint: say('crew.field.how-much.hint') },
      day,
    ],
  },
  checked: {
    type: type('protection.checked'), title: say('crew.checking'),
    fields: [
      { is: 'choice', name: 'laid', label: say('crew.field.checked'), need: true, options: downOf },
      {
        is: 'text', name: 'finding', label: say('crew.field.seen'), need: true,
        chips: () => [say('crew.chip.in-order'), say('crew.chip.mended'), say('crew.chip.torn'), say('crew.chip.gone')],
      },
      { is: 'tick', name: 'sound', label: say('crew.field.sound'), start: true },
      day,
    ],
  },
  prepared: {
    type: type('surface.prepared'), title: say('crew.prepared'), repeats: true,
    fields: [task('preparation'), quantity('task'), place, surface, method, day],
  },
  material: {
    type: type('material.used'), title: say('crew.material'), repeats: true,
    fields: [
      { ...product, need: true }, quantity('product'),
      { ...task(), label: say('crew.field.for-task'), need: false, remember: false, aside: true }, day,
    ],
  },
  returned: {
    type: type('material.returned'), title: say('crew.returned'),
    fields: [{ ...product, need: true, remember: false }, quantity('product'), day],
  },
  damage: {
    type: type('damage.found'), title: say('crew.damage-found'),
    fields: [
      placeNeeded, { is: 'text', name: 'item', label: say('crew.field.item'), need: true }, finding,
      {
        is: 'choice', name: 'cause', label: say('crew.field.cause'), need: true, start: 'unknown',
        options: oneOf(['unknown', say('crew.cause.unknown')], ['ours', say('crew.cause.ours')], ['others', say('crew.cause.others')],
          ['before', say('crew.cause.before')]),
      },
      photos, day,
    ],
  },
  good: {
    type: type('damage.made-good'), title: say('crew.making-good'),
    fields: [
      { is: 'choice', name: 'damage', label: say('crew.field.damage'), need: true, options: openOf('damage') },
      { is: 'area', name: 'work', label: say('crew.field.work'), need: true }, photos, day,
    ],
  },
  snag: {
    type: type('snag.raised'), title: say('crew.snag'),
    fields: [
      placeNeeded, { ...finding, label: say('crew.field.not-right') },
      {
        is: 'choice', name: 'raised_by', label: say('crew.field.raised-by'), need: true, start: 'firm',
        options: oneOf(['firm', say('crew.by.firm')], ['customer', say('crew.by.customer')]),
      },
      photos, day,
    ],
  },
  cleared: {
    type: type('snag.cleared'), title: say('crew.clearing'),
    fields: [
      { is: 'choice', name: 'snag', label: say('crew.field.snag'), need: true, options: openOf('snags') },
      { is: 'area', name: 'work', label: say('crew.field.work') }, photos, day,
    ],
  },
  condition: {
    type: type('condition.recorded'), title: say('crew.condition'),
    fields: [
      placeNeeded, { is: 'text', name: 'item', label: say('crew.field.looked-at') }, finding,
      { is: 'tick', name: 'damaged', label: say('crew.field.damaged') }, photos, day,
    ],
  },
  note: {
    type: type('note.added'), title: say('crew.note'),
    fields: [
      { is: 'area', name: 'text', label: say('crew.field.note'), need: true }, place,
      { is: 'tick', name: 'for_customer', label: say('crew.field.for-customer') }, day,
    ],
  },
  photo: {
    type: type('photo.attached'), title: say('crew.photo'),
    fields: [
      { is: 'photos', name: 'photo', label: say('crew.field.photo'), need: true, hint: kept },
      { is: 'area', name: 'caption', label: say('crew.field.note') }, day,
    ],
  },
  void: {
    type: type('event.voided'), title: say('crew.take-back'), save: say('crew.take-back'),
    fields: [
      { is: 'hidden', name: 'event' },
      {
        is: 'text', name: 'reason', label: say('crew.field.reason'), need: true,
        chips: () => [say('crew.chip.wrong-job'), say('crew.chip.wrong-amount'), say('crew.chip.twice')],
      },
    ],
  },
};

// onJob lists the kinds that have a button on the page of a job.
export const onJob = ['hours', 'coat', 'laid', 'lifted', 'checked', 'prepared', 'material', 'returned', 'damage', 'snag', 'condition', 'note', 'photo'];

export const kindOf = (eventType) => Object.keys(kinds).find((name) => kinds[name].type === eventType);

// reasonOf says why the ledger did not take an entry: the field in the words of its form,
// and the rule, which is English always.
export const reasonOf = ({ kind, reason }) => {
  if (!reason) return { about: '', rule: '' };
  const field = kinds[kind]?.fields.find((f) => f.name === reason.field);
  const rule = reason.rule.replace(/(\d+) thousandths/g, (_, milli) => amount(Number(milli)));
  return { about: reason.photo ? say('crew.field.photo') : field?.label ?? reason.field, rule };
};

export const productUnit = (known, key) => known.products.find((p) => p.product === key)?.unit;
export const taskUnit = (known, key) => known.tasks.find((t) => t.task === key)?.unit;
