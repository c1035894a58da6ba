// Elements, colours and thread, drawn. Nothing is ever parsed as HTML.

const svgSpace = "http://www.w3.org/2000/svg";

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes))
    if (value !== undefined && value !== null) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export const html = (name, attributes = {}, ...children) => fill(document.createElement(name), attributes, children);
export const svg = (name, attributes = {}, ...children) =>
  fill(document.createElementNS(svgSpace, name), attributes, children);

export const one = (value) => value.toFixed(1);
export const inWords = ([L, a, b]) => `L* ${one(L)}  a* ${one(a)}  b* ${one(b)}`;

// Half width of the 95 % interval of each of L, a and b alone.
export const spread = (covariance) => [0, 1, 2].map((i) => 1.96 * Math.sqrt(Math.max(0, covariance[i][i])));

// Rows of cells; the first cell of each names its row.
export function table(name, headings, rows) {
  const row = (cells) => html("tr", {}, ...cells.map((cell, i) => {
    const parts = Array.isArray(cell) ? cell : [cell];
    return i === 0 ? html("th", { scope: "row" }, ...parts) : html("td", {}, ...parts);
  }));
  return html("div", { class: "table", role: "region", tabindex: 0, "aria-label": name },
    html("table", {},
      html("thead", {}, html("tr", {}, ...headings.map((heading) => html("th", { scope: "col" }, heading)))),
      html("tbody", {}, ...rows.map(row))));
}

// A measured colour on an SVG shape: CIELAB (D50) where the browser draws it through the screen's profile, else sRGB.
export function coloured(shape, colour) {
  const lab = colour.lab ?? colour.predicted_lab;
  shape.setAttribute("fill", colour.screen.srgb);
  shape.style.fill = `lab(${lab[0]} ${lab[1]} ${lab[2]})`;
  return shape;
}

// Round shading and turns of thread, faded out towards the middle, where the colour stays as measured. Once a drawing.
let drawings = 0;
export function threadDefs() {
  const own = `d${++drawings}`;
  const stop = (offset, alpha) => svg("stop", { offset, "stop-color": "#000", "stop-opacity": alpha });
  const white = (offset, level) => svg("stop", { offset, "stop-color": level });
  const down = { x1: 0, y1: 0, x2: 0, y2: 1 };
  const defs = svg("defs", {},
    svg("linearGradient", { id: `${own}-round`, ...down },
      stop("0", 0.6), stop("0.1", 0.3), stop("0.28", 0), stop("0.72", 0), stop("0.9", 0.3), stop("1", 0.6)),
    svg("linearGradient", { id: `${own}-edges`, ...down },
      white("0", "#fff"), white("0.3", "#000"), white("0.7", "#000"), white("1", "#fff")),
    svg("pattern", { id: `${own}-turns`, width: 5, height: 40, patternUnits: "userSpaceOnUse", patternTransform: "skewX(-6)" },
      svg("path", { d: "M1 0v40", stroke: "#000", "stroke-opacity": 0.28, "stroke-width": 1 }),
      svg("path", { d: "M3.5 0v40", stroke: "#fff", "stroke-opacity": 0.16, "stroke-width": 1 })),
    svg("mask", { id: `${own}-mask`, maskContentUnits: "objectBoundingBox" },
      svg("rect", { width: 1, height: 1, fill: `url(#${own}-edges)` })));
  return { defs, round: `url(#${own}-round)`, turns: `url(#${own}-turns)`, mask: `url(#${own}-mask)` };
}

export function swatch(colour) {
  return svg("svg", { class: "swatch", viewBox: "0 0 40 40", "aria-hidden": "true" },
    coloured(svg("rect", { x: 6, y: 6, width: 28, height: 28 }), colour));
}

// Old thread on the left and new on the right, without a gap between, as one lies beside the other on a rod; outside them the blank as it is and as it
// will be under the coat, where it is known ({bare, coated}).
export function sideBySide(old, fresh, blank) {
  const thread = threadDefs();
  const box = { y: 0, height: 40 };
  return svg("svg", { class: "pair", viewBox: blank ? "-16 0 232 40" : "0 0 200 40", preserveAspectRatio: "none", "aria-hidden": "true" },
    thread.defs,
    coloured(svg("rect", { ...box, x: 0, width: 100.5 }), old),
    coloured(svg("rect", { ...box, x: 100, width: 100 }), fresh),
    ...(blank ? [coloured(svg("rect", { y: 2, height: 36, x: -16, width: 16 }), blank.bare), coloured(svg("rect", { y: 2, height: 36, x: 200, width: 16 }), blank.coated)] : []),
    svg("rect", { ...box, x: 0, width: 200, fill: thread.turns, mask: thread.mask }),
    svg("rect", { ...box, x: 0, width: 200, fill: thread.round }),
    ...(blank ? [-16, 200].map((x) => svg("rect", { y: 2, height: 36, x, width: 16, fill: thread.round })) : []));
}

// Expected CIEDE2000 and its 95 % interval against the limit.
export function interval(candidate, tolerance, most) {
  const at = (value) => (Math.min(value, most) / most) * 156 + 2;
  const [low, high] = candidate.interval;
  return svg("svg", { class: "interval", viewBox: "0 0 160 16", "aria-hidden": "true" },
    svg("rect", { x: 2, y: 3, width: at(tolerance) - 2, height: 10, class: "passes" }),
    svg("path", { d: "M2 8H158", class: "axis" }),
    svg("path", { d: `M${at(low)} 8H${at(high)}`, class: "reach" }),
    svg("circle", { cx: at(candidate.delta_e), cy: 8, r: 4, class: "expected" }));
}
