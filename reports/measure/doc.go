// Package measure turns rooms into quantities: by the rule that was agreed, with
// a sentence for everything that was deducted or was not, then into packs to buy
// and into prices with add-ons. It is pure, and works in whole numbers only:
// millimetres, thousandths of a metre, square metre or product unit, hundredths
// of a per cent and ten-thousandths of the currency unit.
//
// The rules are named as estimates name them (see the Measure constants of
// package events); a few more are here to compare with. Standards are told in our
// own words. The standard itself, in the edition that was agreed, goes before
// this package.
package measure
