// Package pages is what all pages of the office share: the layout with its way
// around, the style sheet, small scripts, tables and the page of a problem. Packages
// that show something add their own bodies to one [Frame].
//
// Pages work without JavaScript. With it they come up to date by themselves or say
// that new records came in (assets/live.js), and say where a table is wider than its
// box (assets/tables.js). No page holds a script or a style of its own, so a strict
// content policy fits.
package pages
