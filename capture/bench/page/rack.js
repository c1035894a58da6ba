// The rack: its spools, what they serve when finished, gaps and twins, drawn and in words and numbers.
import { rackAudit, Refused, spoolsLike } from "./api.js";
import { coloured, html, inWords, one, svg, swatch, table } from "./draw.js";
import { offerEnrol } from "./enrol.js";
import { thickness, threadSaid, unit } from "./words.js";

const $ = (id) => document.getElementById(id);
const mostRows = 500;
const percent = (share) => `${one(100 * share)} %`;

// One disc: hue round, chroma outwards.
function disc(level, number, audit) {
  const gaps = audit.gaps.map((gap, i) => ({ ...gap, number: i + 1 })).filter((gap) => gap.level === number);
  const drawn = svg("svg", {
    class: "disc", viewBox: "-150 -122 300 262", role: "img",
    "aria-label": `${level.name}: ${level.dots.length} finished looks. ` +
      (level.open === "" ? "Nothing asked for is missing." : "Light areas are asked for and not served. ") +
      (gaps.length > 0 ? `Gaps: ${gaps.map((gap) => `${gap.number} ${gap.words}`).join(", ")}.` : ""),
  }, svg("circle", { r: 100, class: "field" }), svg("path", { class: "open", d: level.open }));
  for (const ring of audit.rim.rings)
    drawn.append(svg("circle", { r: ring.radius, class: "ring" }),
      svg("text", { x: -ring.radius * Math.SQRT1_2, y: ring.radius * Math.SQRT1_2 + 8, class: "ring-name" }, String(ring.chroma)));
  for (const { degrees, word } of audit.rim.hues) {
    const angle = (degrees * Math.PI) / 180, side = Math.cos(angle);
    drawn.append(svg("text", {
      x: 104 * side, y: -106 * Math.sin(angle) + 3, class: side > 0.2 ? "start" : side < -0.2 ? "end" : "middle",
    }, word));
  }
  for (const dot of level.dots)
    drawn.append(coloured(svg("circle", { cx: dot.x, cy: dot.y, r: 2.7, class: dot.lab[0] < 50 ? "dot dark" : "dot" },
      svg("title", {}, `${dot.spool}, ${dot.schedule}, over ${dot.ground}: ${dot.screen.words}, ${inWords(dot.lab)}`)), dot));
  for (const gap of gaps.reverse()) // the largest on top
    drawn.append(svg("circle", { cx: gap.x, cy: gap.y, r: 6, class: "gap" }),
      svg("text", { x: gap.x, y: gap.y + 3, class: "gap-number" }, String(gap.number)));
  drawn.append(svg("text", { y: 137, class: "middle name" }, level.name));
  return drawn;
}

const gapRow = (gap, i) => [
  String(i + 1), [swatch(gap), gap.words], percent(gap.share), inWords(gap.lab), `${one(gap.delta_e)} (at worst ${one(gap.worst_delta_e)})`,
  `${gap.nearest.spool}, ${gap.nearest.schedule}, over ${gap.nearest.ground}`,
];

// What the audit says of each spool, in words.
function notesOf(audit) {
  const notes = new Map();
  const note = (code, words) => notes.set(code, [...(notes.get(code) ?? []), words]);
  for (const { spools } of audit?.twins ?? [])
    for (const code of spools) note(code, `twin of ${spools.filter((other) => other !== code).join(", ")}`);
  for (const code of audit?.unneeded ?? []) note(code, "not needed");
  for (const { spool, needed_m, left_m, runs_out } of audit?.stock ?? [])
    note(spool, runs_out ? `runs out: ${threadSaid(needed_m - left_m)} short for the open jobs` : `${threadSaid(needed_m)} for the open jobs`);
  return notes;
}

let audit = null, looking = null;
async function drawSpools() {
  looking?.abort();
  looking = new AbortController();
  const { in_all, found, spools } = await spoolsLike($("find").value.trim(), mostRows, looking.signal);
  const notes = notesOf(audit), looked = $("find").value.trim() !== "";
  const heading = looked ? `${found} of ${in_all} spools have that in them` : `${in_all} spools`;
  $("spools").replaceChildren(
    html("h3", { role: "status" }, spools.length < found ? `${heading}: the first ${spools.length}; name one to find others` : heading),
    table("Spools", ["spool", "name", "dry colour", "L* a* b*", "material", "size", unit, "lot", "left", "note"],
      spools.map((s) => [
        s.code, s.name, [swatch(s), s.screen.words], inWords(s.lab), s.material, s.size, thickness(s.size_mm), s.lot,
        s.metres_left === null ? "not known" : threadSaid(s.metres_left), (notes.get(s.code) ?? []).join("; "),
      ])));
}
const trouble = (cause) => {
  if (cause.name === "AbortError") return;
  $("rack-said").textContent = cause instanceof Refused ? `${cause.message} ${cause.mend}` : "The page went wrong. Load it again.";
  if (!(cause instanceof Refused)) throw cause;
};

function list(name, items, otherwise) {
  return [html("h3", {}, name), items.length > 0 ? html("ul", {}, ...items.map((item) => html("li", {}, item))) : html("p", {}, otherwise)];
}

function drawAudit(audit) {
  const missing = audit.stock.filter((s) => !s.in_rack).map((s) => `${s.spool} is not in the rack: ${threadSaid(s.needed_m)} for the open jobs`);
  $("audit").replaceChildren(
    html("figure", {}, html("div", { class: "discs" }, ...audit.levels.map((level, i) => disc(level, i, audit))),
      html("figcaption", {}, "Hue round, chroma (C*) outwards. Dots: how the spools look when finished, in their colours. Light areas: asked for, and no spool " +
        "serves it. Numbers: the gaps below.")),
    ...(audit.gaps.length > 0
      ? [html("h3", {}, `Gaps, most asked for first${audit.gaps_in_all > audit.gaps.length ? ` (${audit.gaps.length} of ${audit.gaps_in_all})` : ""}`),
        table("Gaps", ["", "gap", "of all", "a spool here", "off by, CIEDE2000", "nearest"], audit.gaps.map(gapRow))]
      : [html("p", {}, "There is no gap.")]),
    ...list("Twins", audit.twins.map((t) => `${t.spools.join(" and ")}: no eye tells them apart, ${t.delta_e.toFixed(2)} CIEDE2000 at most`), "No two spools are twins."),
    ...list("Not needed", audit.unneeded.length > 0 ? [`${audit.unneeded.join(", ")}: ${audit.unneeded.length === 1 ? "it" : "all of them"} can go, and whatever is served is served still.`] : [],
      "Each spool serves a look that no other does."),
    ...(missing.length > 0 ? list("Missing", missing) : []),
    html("p", {}, audit.rests_words));
}

// The section, once it is known what there is.
export async function showRack({ spools_in_all: count, materials }) {
  let asking = null, soon = 0;
  $("rack").hidden = false;
  offerEnrol(materials, () => drawSpools().catch(trouble));
  $("asked").hidden = $("look").hidden = $("find").parentElement.hidden = count === 0;
  $("find").addEventListener("input", () => {
    clearTimeout(soon);
    soon = setTimeout(() => drawSpools().catch(trouble), 150);
  });
  $("look").addEventListener("click", async () => {
    asking?.abort();
    asking = new AbortController();
    const mine = asking;
    $("rack-said").textContent = "Looking at the rack: some seconds";
    try {
      audit = await rackAudit(document.querySelector("[name=asked]:checked").value, mine.signal);
      drawAudit(audit);
      await drawSpools();
      $("rack-said").textContent = audit.served_words;
    } catch (cause) {
      if (cause.name !== "AbortError") $("audit").replaceChildren();
      trouble(cause);
    }
  });
  if (count > 0) await drawSpools().catch(trouble);
}
