// What was chosen, wrap by wrap: the sheet to print, and the job to keep.
import { keepJob, Refused, toldOf } from "./api.js";
import { html } from "./draw.js";
import { showJobs } from "./jobs.js";
import { fine, fineStep, millimetres, unit, words } from "./words.js";

const $ = (id) => document.getElementById(id);
const chosen = new Map(); // by band: {spool, schedule, ground, old_finish, width_mm, diameter_mm, count}
let id = null;

export const scheduleWords = (c) => ({ none: "dry", finish: "finish", "preserver+finish": "preserver, then finish" })[c.schedule] ?? c.schedule;

function field(wrap, name, label, shownValue, change, attributes) {
  const input = html("input", { type: "number", inputmode: "decimal", min: 0, value: shownValue, "aria-label": `Band ${wrap.band}: ${label}`, ...attributes });
  input.addEventListener("input", () => {
    wrap[name] = Number.isFinite(input.valueAsNumber) && input.valueAsNumber > 0 ? change(input.valueAsNumber) : null;
    say();
  });
  return html("label", {}, input, ` ${label}`);
}

// The link is there once nothing is missing.
function say() {
  const missing = [...chosen.values()].filter((wrap) => !wrap.width_mm || !wrap.diameter_mm).map((wrap) => wrap.band);
  $("sheet-said").textContent = missing.length > 0
    ? `Width and blank of band ${missing.join(", ")} were not read, as from a region they are not: write them beside it.` : "";
  $("keep").disabled = missing.length > 0;
  if (missing.length > 0) $("open").removeAttribute("href");
  else $("open").href = `/api/readings/${id}/sheet.html?${form()}`;
}

function form() {
  const out = new URLSearchParams({ name: $("name").value, coats: $("coats-of").value });
  if ($("one-guide").checked) out.set("one_guide", 1);
  for (const [, { band, spool, schedule, ground, old_finish, width_mm, diameter_mm, count, read }] of [...chosen].sort(([one], [other]) => one - other)) {
    const wrap = { band, spool, schedule, ground, old_finish }; // no more than there is to say: an address has its bounds
    if (width_mm !== read.width_mm) wrap.width_mm = Number(width_mm.toFixed(2));
    if (diameter_mm !== read.diameter_mm) wrap.diameter_mm = Number(diameter_mm.toFixed(2));
    if (count > 1) wrap.count = Math.round(count);
    out.append("wrap", JSON.stringify(wrap));
  }
  return out;
}

function draw() {
  $("job").hidden = chosen.size === 0;
  $("wraps").replaceChildren(...[...chosen].sort(([one], [other]) => one - other).map(([band, wrap]) => {
    const away = html("button", { type: "button", "aria-label": `Take off band ${band}` }, "Take off");
    away.addEventListener("click", () => {
      chosen.delete(band);
      draw();
      ($("job").hidden ? $("put") : $("name")).focus();
    });
    const asShown = (mm) => (mm ? fine(mm) : "");
    return html("li", {}, html("span", {}, `band ${band}: ${wrap.spool} ${wrap.name}, ${scheduleWords(wrap)} over ${wrap.ground_label}${wrap.old_finish ? ", as it was when new" : ""}`),
      html("span", { class: "measures" },
        field(wrap, "count", words("{wraps} like it"), wrap.count, (n) => n, { min: 1, step: 1, inputmode: "numeric" }),
        field(wrap, "width_mm", `${unit} wide`, asShown(wrap.width_mm), millimetres, { step: fineStep }),
        field(wrap, "diameter_mm", `${unit} blank`, asShown(wrap.diameter_mm), millimetres, { step: fineStep })), away);
  }));
  say();
}

// The wraps that were chosen stand for the bands of one reading; `keep` where another reading has the same bands.
export function sheetOf(reading, keep) {
  id = reading;
  if (!keep) chosen.clear();
  draw();
}

// `old_finish`: what was undone for the match, if it was to be as new.
export function putOnSheet(number, band, diameter_mm, candidate, old_finish) {
  const read = { width_mm: band.length_mm > 0 ? band.length_mm : null, diameter_mm: diameter_mm ?? null };
  chosen.set(number, {
    band: number, spool: candidate.spool, name: candidate.name, schedule: candidate.schedule, ground: candidate.ground_asked, ground_label: candidate.ground,
    old_finish: old_finish && Object.fromEntries(Object.entries(old_finish).map(([name, value]) => [name, Number(value.toPrecision(5))])),
    count: 1, read, ...read,
  });
  draw();
}

for (const id of ["name", "coats-of", "one-guide"]) $(id).addEventListener("input", say);
$("keep").addEventListener("click", async () => {
  $("keep").disabled = true;
  $("keep-said").textContent = "Keeping it";
  try {
    const job = form();
    job.set("note", $("note").value);
    const { name } = await keepJob(id, job);
    $("keep-said").textContent = `Kept as ${name}, with its photos and what was read on them`;
    await showJobs();
  } catch (cause) {
    $("keep-said").textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  } finally {
    say();
  }
});
