// Writes and reads numbers, and writes days, as the firm's locale does.
import { say } from './say.js';

let grouped, typed, days, decimalMark;

// speak sets the locale (BCP 47). One that the browser does not know is passed over, and
// names of days are in the language of the page always.
export const speak = (locale) => {
  const page = document.documentElement.lang;
  const usual = page === 'en' ? 'en-GB' : page;
  const known = (() => {
    try { return Intl.getCanonicalLocales(locale); } catch { return []; }
  })();
  grouped = new Intl.NumberFormat([...known, usual], { maximumFractionDigits: 3 });
  typed = new Intl.NumberFormat([...known, usual], { maximumFractionDigits: 3, useGrouping: false });
  days = new Intl.DateTimeFormat([...known.filter((tag) => tag.split('-')[0] === page), usual],
    { weekday: 'long', day: 'numeric', month: 'long', timeZone: 'UTC' });
  decimalMark = typed.format(0.5).at(1);
};
speak();

// shown writes thousandths to be read, inField as they are typed.
export const shown = (milli) => grouped.format(milli / 1000);
export const inField = (milli) => typed.format(milli / 1000).replace('\u2212', '-');

export const hours = (minutes) => `${Math.trunc(minutes / 60)}:${String(minutes % 60).padStart(2, '0')}`;

export const dayName = (day) => days.format(new Date(`${day}T00:00:00Z`));

// readThousandths takes a point or a comma before decimals. What the locale writes for
// a thousand is refused where it could be one.
export const readThousandths = (text, { signed = false, zero = false } = {}) => {
  const found = /^(-?)(\d{1,7})(?:([.,])(\d{1,3}))?$/.exec(text.trim());
  if (!found || (found[1] && !signed)) throw new Error(say('crew.wrong.number', { example: inField(12_500) }));
  const [, minus, whole, mark, decimals = ''] = found;
  if (mark && mark !== decimalMark && decimals.length === 3 && /^[1-9]\d{0,2}$/.test(whole)) {
    throw new Error(say('crew.wrong.two-ways', { whole: whole + decimals, decimal: whole + decimalMark + decimals }));
  }
  const milli = Number(whole) * 1000 + Number(decimals.padEnd(3, '0'));
  if (milli === 0 && !signed && !zero) throw new Error(say('crew.wrong.positive'));
  return minus ? -milli : milli;
};

export const readMinutes = (text) => {
  const clock = /^(\d{1,2}):([0-5]\d)$/.exec(text.trim());
  if (clock) return Number(clock[1]) * 60 + Number(clock[2]);
  const decimal = /^(\d{1,2})(?:[.,](\d{1,2}))?$/.exec(text.trim());
  const hundredths = decimal && Number(decimal[1]) * 100 + Number((decimal[2] ?? '').padEnd(2, '0'));
  if (!decimal || (hundredths * 60) % 100 !== 0) throw new Error(say('crew.wrong.hours', { example: inField(7_500) }));
  return (hundredths * 60) / 100;
};
