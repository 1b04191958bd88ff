// Says things in the words of the trade.
const units = { m2: 'm²', each: 'pieces', hour: 'hours', l: 'litres', sheet: 'sheets', roll: 'rolls', pack: 'packs' };

export const unitName = (unit) => units[unit] ?? unit;

export const amount = (milli, unit) => {
  const text = String(Math.trunc(milli / 1000)) + (milli % 1000 === 0
    ? '' : `.${String(milli % 1000).padStart(3, '0').replace(/0+$/, '')}`);
  return unit ? `${text} ${unitName(unit)}` : text;
};

export const hours = (minutes) => `${Math.trunc(minutes / 60)}:${String(minutes % 60).padStart(2, '0')}`;

export const dayName = (day) => new Intl.DateTimeFormat('en-GB', { weekday: 'long', day: 'numeric', month: 'long', timeZone: 'UTC' })
  .format(new Date(`${day}T00:00:00Z`));

const called = (list, member, key) => list.find((entry) => entry[member] === key)?.name ?? key ?? '';
export const taskName = (day, key) => called(day.tasks, 'task', key);
export const productName = (day, key) => called(day.products, 'product', key);
export const personName = (day, key) => called(day.people, 'person', key);

const list = (...parts) => parts.filter(Boolean).join(', ');

// says returns a line about an entry.
export const says = (day, kind, d) => {
  const what = () => list(taskName(day, d.task), d.quantity_milli && amount(d.quantity_milli, d.unit), d.location);
  switch (kind) {
    case 'hours': return list(`${hours(d.minutes)} hours`, personName(day, d.person), taskName(day, d.task), d.location);
    case 'coat': return list(`Coat ${d.coat}`, what(), productName(day, d.product));
    case 'laid': return list('Laid', what());
    case 'prepared': return list('Prepared', what());
    case 'lifted': return d.quantity_milli ? `Lifted ${amount(d.quantity_milli)}` : 'Lifted all of it';
    case 'checked': return list('Checked', d.finding, !d.sound && 'it does not protect any more');
    case 'returned': return list('Returned', productName(day, d.product), amount(d.quantity_milli, d.unit));
    case 'material': return list('Used', productName(day, d.product), amount(d.quantity_milli, d.unit));
    case 'damage': return list('Damage', d.item, d.finding, d.location);
    case 'good': return list('Made good', d.work);
    case 'snag': return list('Snag', d.finding, d.location);
    case 'cleared': return list('Snag cleared', d.work);
    case 'condition': return list('Condition', d.item, d.finding, d.location);
    case 'note': return list('Photo', d.caption);
    case 'void': return list('Taken back', d.reason);
    default: return '';
  }
};
