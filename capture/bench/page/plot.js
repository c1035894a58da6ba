// Where old and new differ: a* and b* with the 95 % regions, lightness beside.
import { coloured, one, svg } from "./draw.js";

// Half axes and turn of the 95 % ellipse of (a, b); 5.99 is the 95 % point of chi squared with two degrees of freedom.
function ellipse([, [, aa, ab], [, , bb]]) {
  const mean = (aa + bb) / 2, off = Math.hypot((aa - bb) / 2, ab);
  return {
    rx: Math.sqrt(5.99 * Math.max(0, mean + off)),
    ry: Math.sqrt(5.99 * Math.max(0, mean - off)),
    turn: (Math.atan2(2 * ab, aa - bb) / 2) * 180 / Math.PI,
  };
}

export function whereTheyDiffer(old, fresh, code) {
  const size = 200, bar = 36;
  const o = { lab: old.lab, region: ellipse(old.covariance) };
  const n = { lab: fresh.predicted_lab, region: ellipse(fresh.covariance) };
  const middle = [1, 2].map((i) => (o.lab[i] + n.lab[i]) / 2);
  const reach = Math.max(6, ...[o, n].flatMap((c) => [1, 2].map((i) => Math.abs(c.lab[i] - middle[i - 1]) + Math.min(c.region.rx, 25))));
  const scale = size / 2 / (1.1 * reach);
  const x = (a) => size / 2 + (a - middle[0]) * scale, y = (b) => size / 2 - (b - middle[1]) * scale;
  const step = reach > 25 ? 20 : reach > 12 ? 10 : 5;
  const plot = svg("svg", {
    class: "differ", viewBox: `-26 -8 ${size + bar + 70} ${size + 30}`, role: "img",
    "aria-label": `Old: a* ${one(o.lab[1])}, b* ${one(o.lab[2])}, L* ${one(o.lab[0])}. ${code}: a* ${one(n.lab[1])}, b* ${one(n.lab[2])}, L* ${one(n.lab[0])}.`,
  }, svg("rect", { width: size, height: size, class: "field" }));
  for (let i = -10; i <= 10; ++i) {
    const a = Math.round(middle[0] / step) * step + i * step, b = Math.round(middle[1] / step) * step + i * step;
    if (x(a) > 4 && x(a) < size - 4) plot.append(svg("path", { class: "grid", d: `M${x(a)} 0V${size}` }), svg("text", { x: x(a), y: size + 11, class: "middle" }, String(a)));
    if (y(b) > 4 && y(b) < size - 4) plot.append(svg("path", { class: "grid", d: `M0 ${y(b)}H${size}` }), svg("text", { x: -3, y: y(b) + 3, class: "end" }, String(b)));
  }
  plot.append(svg("text", { x: size, y: size + 21, class: "end" }, "a*: green to red"), svg("text", { x: 4, y: 10 }, "b*: blue to yellow"));
  for (const c of [o, n])
    plot.append(svg("ellipse", { class: c === o ? "region old" : "region", rx: Math.min(c.region.rx * scale, 4 * size), ry: Math.min(c.region.ry * scale, 4 * size),
      transform: `translate(${x(c.lab[1])} ${y(c.lab[2])}) rotate(${-c.region.turn})` }));
  plot.append(svg("path", { class: "shift", d: `M${x(o.lab[1])} ${y(o.lab[2])}L${x(n.lab[1])} ${y(n.lab[2])}` }),
    coloured(svg("rect", { x: x(o.lab[1]) - 6, y: y(o.lab[2]) - 6, width: 12, height: 12, class: "dot" }), old),
    coloured(svg("circle", { cx: x(n.lab[1]), cy: y(n.lab[2]), r: 6.5, class: "dot" }), fresh));
  const left = size + 22, level = (L) => size * (1 - Math.max(0, Math.min(100, L)) / 100);
  plot.append(svg("rect", { x: left, width: bar, height: size, class: "field" }));
  for (const L of [0, 25, 50, 75, 100])
    plot.append(svg("path", { class: "grid", d: `M${left} ${level(L)}h${bar}` }), svg("text", { x: left + bar + 3, y: level(L) + 3 }, String(L)));
  plot.append(coloured(svg("rect", { x: left + 4, y: level(o.lab[0]) - 5, width: 11, height: 10, class: "dot" }), old),
    coloured(svg("circle", { cx: left + 26, cy: level(n.lab[0]), r: 6, class: "dot" }), fresh),
    svg("text", { x: left + bar / 2, y: size + 21, class: "middle" }, "L*"));
  return plot;
}
