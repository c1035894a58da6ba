// The rod as a strip, to scale along and across.
import { coloured, inWords, svg, threadDefs } from "./draw.js";
import { lengthSaid, role, shown, ticks, unit } from "./words.js";

const thread = 0.15; // millimetres that a wrap stands out from the blank, each side (a usual thread)

const creep = 2; // millimetres that a coat runs out over the blank beside a wrap (common practice: 1 to 3)

// `instead`: {band, colour} shows one band in another colour, the blank beside it in that of `coated`. `choose(number)` is called for a touched band.
export function rodStrip(reading, { name, chosen, instead, coated, choose }) {
  const across = reading.blank_diameter_mm ?? 10;
  const bands = reading.bands.map((band, i) => ({ ...band, number: i + 1 }));
  const lone = bands.length === 1 && !(bands[0].length_mm > 0); // a region by hand has no place along the rod
  const begin = lone ? 0 : bands[0].start_mm;
  const end = lone ? 3 * across : bands.at(-1).start_mm + bands.at(-1).length_mm;
  const air = 0.9, half = across / 2 + thread;
  const drawn = threadDefs();
  const strip = svg("svg", {
    class: "rod", role: "img", viewBox: `${begin} ${-half - air} ${end - begin} ${2 * (half + air)}`,
    "aria-label": `${name}: ` + bands.map((b) =>
      `${b.number} ${role(b)} ${lengthSaid(b.length_mm)}, ${(instead?.band === b.number ? instead.colour : b).screen.words}`).join("; "),
  }, drawn.defs);
  for (const band of bands) {
    const r = band.role === "blank" ? across / 2 : half;
    const box = {
      x: lone ? begin : band.start_mm, y: -r, height: 2 * r,
      width: (lone ? end : band.length_mm) + (band.number < bands.length ? 0.02 : 0), // no hairline between
    };
    const colour = instead?.band === band.number ? instead.colour : band;
    const group = svg("g", { class: "band" },
      coloured(svg("rect", box), colour),
      svg("rect", { ...box, fill: drawn.round }),
      svg("title", {}, `${band.number} ${role(band)}: ${inWords(colour.lab ?? colour.predicted_lab)}`));
    // Wraps and trims that lie on each other get one coat.
    for (const side of [-1, 1]) {
      if (!coated || lone || band.role !== "blank" || !inOneCoat(bands, band.number + side, instead.band)) continue;
      const wide = Math.min(creep, band.length_mm / 2);
      const edge = { ...box, x: side < 0 ? band.start_mm : band.start_mm + band.length_mm - wide, width: wide };
      group.append(coloured(svg("rect", { ...edge, class: "coated" }), coated), svg("rect", { ...edge, fill: drawn.round }));
    }
    if (band.role !== "blank" && choose) {
      group.classList.add("touch");
      group.addEventListener("click", () => choose(band.number));
    }
    if (band.number === chosen) {
      // A mark above and below, so that nothing lies on the colour.
      const middle = box.x + box.width / 2;
      for (const side of [-1, 1])
        strip.append(svg("path", {
          class: "mark", d: `M${box.x} ${side * (half + air * 0.6)}H${box.x + box.width}`,
        }), svg("path", { class: "mark", d: `M${middle} ${side * (half + air * 0.2)}v${side * air * 0.6}` }));
    }
    strip.append(group);
  }
  return strip;
}

// Whether one band is the other, or reached from it over thread alone.
function inOneCoat(bands, from, to) {
  const [low, high] = [Math.min(from, to), Math.max(from, to)];
  return low >= 1 && high <= bands.length && bands.slice(low - 1, high).every((b) => b.role !== "blank");
}

// In the shop's unit from the left end of what the opening shows.
export function ruler(reading) {
  const bands = reading.bands;
  const begin = bands[0].start_mm, end = bands.at(-1).start_mm + bands.at(-1).length_mm;
  const scale = svg("svg", { class: "ruler", viewBox: `0 0 ${end - begin} 5`, "aria-hidden": "true" });
  const count = Math.floor((end - begin) / ticks.every), room = 6; // for a number and the unit after it
  const numbered = [];
  for (let i = 0; i <= count; ++i) {
    const x = i * ticks.every;
    scale.append(svg("path", { d: `M${x} 0v${i % ticks.long === 0 ? 2 : i % ticks.middle === 0 ? 1.4 : 0.8}` }));
    if (i % ticks.numbered === 0 && i > 0 && x < end - begin - room) numbered.push(x);
  }
  numbered.forEach((x, i) => scale.append(svg("text", { x, y: 4.8 }, `${Math.round(shown(x))}${i === numbered.length - 1 ? ` ${unit}` : ""}`)));
  return scale;
}
