// The shop's units and its trade's words, as the server has written them on the page.
const said = document.documentElement.dataset;
const inches = said.units === "inches";
const mmPerInch = 25.4, metresPerYard = 0.9144; // exactly (international yard and pound, 1959)

export const unit = inches ? "in" : "mm";
// A length as it is shown, and back.
export const shown = (mm) => (inches ? mm / mmPerInch : mm);
export const millimetres = (value) => (inches ? value * mmPerInch : value);
export const length = (mm) => shown(mm).toFixed(inches ? 2 : 1);
export const lengthSaid = (mm) => `${length(mm)} ${unit}`;
// To be typed: finer than it is told.
export const fine = (mm) => shown(mm).toFixed(inches ? 3 : 1);
export const fineStep = inches ? 0.005 : 0.1;
export const thickness = (mm) => shown(mm).toFixed(inches ? 4 : 2);
export const threadSaid = (metres) => (inches ? `${(metres / metresPerYard).toFixed(1)} yd` : `${metres.toFixed(1)} m`);
// On a ruler: millimetres from tick to tick, how many of those to a middle, a long and a numbered one.
export const ticks = inches ? { every: mmPerInch / 8, middle: 4, long: 8, numbered: 8 } : { every: 1, middle: 5, long: 10, numbered: 20 };

// A text with {wrap}, {wraps}, {Wrap}, {Wraps}, {guide} or {guides} in it.
export const words = (text) => text.replace(/\{(wraps?|guides?)\}/gi, (_, word) => {
  const own = said[word.toLowerCase()];
  return word[0] < "a" ? own[0].toUpperCase() + own.slice(1) : own;
});
// What a band is.
export const role = (band) => (band.role === "wrap" ? words("{wrap}") : band.role);
