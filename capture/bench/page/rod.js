// The rod as a strip, to scale along and across.
import { coloured, inWords, one, svg, threadDefs } from "./draw.js";

const thread = 0.15; // millimetres that a wrap stands out from the blank, each side (a usual thread)

// `instead`: {band, colour} shows one band in another colour. `choose(number)` is called for a touched band.
export function rodStrip(reading, { name, chosen, instead, choose }) {
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
      `${b.number} ${b.role} ${one(b.length_mm)} mm, ${(instead?.band === b.number ? instead.colour : b).screen.words}`).join("; "),
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
      svg("title", {}, `${band.number} ${band.role}: ${inWords(colour.lab ?? colour.predicted_lab)}`));
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

// Millimetres from the left end of what the opening shows.
export function ruler(reading) {
  const bands = reading.bands;
  const begin = bands[0].start_mm, end = bands.at(-1).start_mm + bands.at(-1).length_mm;
  const scale = svg("svg", { class: "ruler", viewBox: `0 0 ${end - begin} 5`, "aria-hidden": "true" });
  for (let mm = 0; mm <= end - begin; ++mm) {
    scale.append(svg("path", { d: `M${mm} 0v${mm % 10 === 0 ? 2 : mm % 5 === 0 ? 1.4 : 0.8}` }));
    if (mm % 20 === 0 && mm > 0 && mm < end - begin - 4) scale.append(svg("text", { x: mm, y: 4.8 }, String(mm)));
  }
  return scale;
}
