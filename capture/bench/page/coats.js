// What coating did: the shop's coat tests as shifts from dry to finished, what was to be expected beside what was seen.
import { coatTests, Refused, toldOf } from "./api.js";
import { coloured, html, inWords, one, svg, swatch, table } from "./draw.js";

const $ = (id) => document.getElementById(id);
const size = 220, wide = 200;

// From dry to finished, its head in the finished colour; to where it was expected a dashed line, ended by a square.
function shift(from, to, expected, test) {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]], length = Math.hypot(dx, dy) || 1;
  const [ux, uy] = [dx / length, dy / length], gap = Math.min(4, length / 2), head = Math.min(9, gap + length / 2); // of a short one too
  const back = [to[0] - gap * ux, to[1] - gap * uy], spread = 0.7 * (head - gap);
  const parts = [svg("path", { class: "arrow", d: `M${from}L${back}` }),
    svg("path", { class: "arrow", d: `M${to[0] - head * ux - spread * uy} ${to[1] - head * uy + spread * ux}L${back}L${to[0] - head * ux + spread * uy} ${to[1] - head * uy - spread * ux}` })];
  if (expected)
    parts.push(svg("path", { class: "off", d: `M${to}L${expected}` }),
      coloured(svg("rect", { class: "dot", x: expected[0] - 3, y: expected[1] - 3, width: 6, height: 6 }), test.expected));
  parts.push(coloured(svg("circle", { class: "dot", cx: to[0], cy: to[1], r: 3.6 }), test.finished));
  if (test.outlier) parts.push(svg("circle", { class: "doubted", cx: to[0], cy: to[1], r: 8 }));
  return svg("g", {}, svg("title", {}, `test ${test.number}: ${test.dry.screen.words} to ${test.finished.screen.words}`), ...parts);
}

function plot(group) {
  const labs = group.rows.flatMap((row) => [row.dry.lab, row.finished.lab, ...(row.expected ? [row.expected.lab] : [])]);
  const reach = 10 * Math.ceil(Math.max(20, ...labs.flatMap(([, a, b]) => [Math.abs(a), Math.abs(b)])) * 0.11);
  const at = ([, a, b]) => [(size / 2) * (1 + a / reach), (size / 2) * (1 - b / reach)];
  const left = size + 42, level = (L) => size * (1 - Math.max(0, Math.min(100, L)) / 100);
  const over = (row, L) => [left + wide * (Math.max(0, Math.min(100, row.dry.lab[0])) / 100), level(L)];
  const drawn = svg("svg", {
    class: "coat", viewBox: `-4 -4 ${left + wide + 12} ${size + 20}`, role: "img",
    "aria-label": `${group.material}, ${group.schedule}: ${group.tests} coat tests from dry to finished, in a* and b* and in lightness. The table has the numbers.`,
  }, svg("rect", { class: "field", width: size, height: size }), svg("path", { class: "grid", d: `M${size / 2} 0V${size}M0 ${size / 2}H${size}` }));
  for (let chroma = 20; chroma < reach; chroma += 20) drawn.append(svg("circle", { class: "grid", cx: size / 2, cy: size / 2, r: (chroma / reach) * (size / 2) }));
  drawn.append(svg("text", { x: size, y: size + 11, class: "end" }, "a*: green to red"), svg("text", { x: 4, y: 10, class: "inside" }, "b*: blue to yellow"),
    svg("text", { x: 0, y: size + 11 }, `rings: every 20 of C*`));
  drawn.append(svg("rect", { class: "field", x: left, width: wide, height: size }));
  for (const L of [0, 25, 50, 75, 100]) drawn.append(svg("path", { class: "grid", d: `M${left} ${level(L)}h${wide}` }), svg("text", { x: left - 3, y: level(L) + 3, class: "end" }, String(L)));
  drawn.append(svg("text", { x: left + 4, y: 10, class: "inside" }, "L*"), svg("text", { x: left + wide, y: size + 11, class: "end" }, "L* when dry, 0 to 100"));
  for (const row of group.rows)
    drawn.append(shift(at(row.dry.lab), at(row.finished.lab), row.expected && at(row.expected.lab), row),
      shift(over(row, row.dry.lab[0]), over(row, row.finished.lab[0]), row.expected && over(row, row.expected.lab[0]), row));
  return drawn;
}

function told(group) {
  const h = group.held_out;
  const good = h ? `What the others make expect is off by ${one(h.median)} CIEDE2000 (median), 95 % within ${one(h.p95)}.` : "One test is not foretold by others: expected is by optics, and by tests of other kinds where there are some.";
  const rows = group.rows.map((row) => [
    String(row.number), [swatch(row.dry), row.dry.screen.words, html("small", {}, inWords(row.dry.lab))],
    [swatch(row.finished), row.finished.screen.words, html("small", {}, inWords(row.finished.lab))],
    row.expected ? [swatch(row.expected), row.expected.screen.words, html("small", {}, inWords(row.expected.lab))] : "not known",
    row.expected ? one(row.delta_e) : "", [row.date, row.source, row.outlier ? "the others contradict it: it counts for little" : ""].filter((words) => words).join("; "),
  ]);
  return [html("h3", {}, `${group.material}, ${group.schedule}: ${group.tests} ${group.tests === 1 ? "test" : "tests"}`), html("p", {}, good), plot(group),
    table(`Coat tests of ${group.material}, ${group.schedule}`, ["test", "dry", "finished, seen", "finished, expected", "off by, CIEDE2000", "note"], rows),
    ...(group.left_off > 0 ? [html("p", {}, `${group.left_off} more are in the shop's file.`)] : [])];
}

$("show-coats").addEventListener("click", async () => {
  $("coats-said").textContent = "Reckoning what the tests teach";
  try {
    const coats = await coatTests();
    $("coats-said").textContent = coats.tests === 0
      ? "This shop has no coat test: every finished look is reckoned from optics alone. Keep some below, or with bindhue coat add: 3 help, 20 settle it."
      : `${coats.tests} coat tests. Arrow: from dry to finished, its head in the finished colour. Square: what the other tests made expect. Ring: contradicted by the others.`;
    $("coat-tests").replaceChildren(...coats.groups.flatMap(told));
  } catch (cause) {
    $("coat-tests").replaceChildren();
    $("coats-said").textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  }
});
