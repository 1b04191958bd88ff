// Says things in the words of the trade.
import { hours, shown } from './numbers.js';
import { say } from './say.js';

const units = {
  m2: 'm²', each: say('unit.each'), hour: say('unit.hour'), l: say('unit.l'), sheet: say('unit.sheet'), roll: say('unit.roll'), pack: say('unit.pack'),
};

// one is what a single piece of a unit is called.
const one = {
  ...units, each: say('unit.each.one'), hour: say('unit.hour.one'), l: say('unit.l.one'), sheet: say('unit.sheet.one'), roll: say('unit.roll.one'), pack: say('unit.pack.one'),
};

export const unitName = (unit) => units[unit] ?? unit;

export const amount = (milli, unit) => (unit ? `${shown(milli)} ${milli === 1000 ? one[unit] ?? unit : unitName(unit)}` : shown(milli));

const called = (list, member, key) => list.find((entry) => entry[member] === key)?.name ?? key ?? '';
export const taskName = (day, key) => called(day.tasks, 'task', key);
export const cautionOf = (day, key) => day.tasks.find((t) => t.task === key)?.caution;
export const productName = (day, key) => called(day.products, 'product', key);
export const personName = (day, key) => called(day.people, 'person', key);

export const list = (...parts) => parts.filter(Boolean).join(', ');

// says returns a line about an entry.
export const says = (day, kind, d) => {
  const what = () => list(taskName(day, d.task), d.quantity_milli && amount(d.quantity_milli, d.unit), d.location);
  switch (kind) {
    case 'hours': return list(say('crew.says.hours', { hours: hours(d.minutes) }), personName(day, d.person), taskName(day, d.task), d.location);
    case 'coat': return list(say('crew.says.coat', { n: d.coat }), what(), productName(day, d.product));
    case 'laid': return list(say('crew.says.laid'), what());
    case 'prepared': return list(say('crew.prepared'), what());
    case 'lifted': return d.quantity_milli ? say('crew.says.lifted', { amount: amount(d.quantity_milli) }) : say('crew.says.lifted-all');
    case 'checked': return list(say('crew.checked'), d.finding, !d.sound && say('crew.says.unsound'));
    case 'returned': return list(say('crew.says.returned'), productName(day, d.product), amount(d.quantity_milli, d.unit));
    case 'material': return list(say('crew.says.used'), productName(day, d.product), amount(d.quantity_milli, d.unit));
    case 'damage': return list(say('crew.damage-found'), d.item, d.finding, d.location);
    case 'good': return list(say('crew.says.good'), d.work);
    case 'snag': return list(say('crew.snag'), d.finding, d.location);
    case 'cleared': return list(say('crew.clearing'), d.work);
    case 'condition': return list(say('crew.says.condition'), d.item, d.finding, d.location);
    case 'photo': return list(say('crew.field.photo'), d.caption);
    case 'note': return list(say(d.for_customer ? 'crew.says.note-for-customer' : 'crew.note'), d.text, d.location);
    case 'void': return list(say('crew.says.taken-back'), d.reason);
    default: return '';
  }
};
