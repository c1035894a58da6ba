// The page's one flow: photo, reading, band, spools.
import { matches, photoOf, read, readAgain, Refused, shop, toldOf } from "./api.js";
import { offerCamera } from "./camera.js";
import "./coat_test.js";
import "./coats.js";
import { editEdges, regionTool } from "./correct.js";
import { html, interval, inWords, one, sideBySide, spread, svg, swatch } from "./draw.js";
import { showJobs } from "./jobs.js";
import { whereTheyDiffer } from "./plot.js";
import { showRack } from "./rack.js";
import { rodStrip, ruler } from "./rod.js";
import { putOnSheet, scheduleWords, sheetOf } from "./sheet.js";
import { offerCodes } from "./spools.js";
import { asNew, offerPlaces, offerWish, wanted } from "./wish.js";
import { lengthSaid, role } from "./words.js";

const $ = (id) => document.getElementById(id);
const now = { id: null, reading: null, band: 0, result: null, pick: 0 };
let reading = null, ranking = null; // controllers of what is under way

// ---- photo

function trouble(cause) {
  if (cause.name === "AbortError") return;
  $("what").textContent = cause instanceof Refused ? cause.message : "The page went wrong.";
  $("mend").textContent = cause instanceof Refused ? cause.mend : "Load it again.";
  $("trouble").hidden = false;
  if (!(cause instanceof Refused)) throw cause;
}

function progress(state) {
  if (state.state === "waiting") {
    $("doing").textContent = state.ahead === 1 ? "One photo is before this one" : `${state.ahead} photos are before this one`;
    $("bar").removeAttribute("value");
  } else {
    $("doing").textContent = `${state.step} of ${state.steps}: ${state.doing}`;
    $("bar").value = state.step;
  }
}

// work(signal): what brings a reading, with progress.
async function follow(work) {
  reading?.abort();
  reading = new AbortController();
  const mine = reading;
  $("trouble").hidden = true;
  $("wait").hidden = false;
  $("bar").value = 0;
  $("doing").textContent = "Bringing the photo in";
  try {
    const found = await work(mine.signal);
    $("doing").textContent = `${found.reading.bands.length} bands found`;
    show(found);
  } catch (cause) {
    if (mine === reading) $("doing").textContent = "";
    trouble(cause);
    return cause;
  } finally {
    if (mine === reading) $("wait").hidden = true;
  }
}

const about = () => ({ light: $("light").value, camera: $("by").value });

async function take(photo) {
  now.reading = null;
  const cause = await follow((signal) => read(photo, about(), progress, signal));
  if (cause?.cardWasRead) showUnread(photo, cause.id);
}

const takeSecond = (photo) => follow((signal) => read(photo, { ...about(), with: now.id }, progress, signal));
const takeShaded = (photo) => follow((signal) => read(photo, { ...about(), with: now.id, band: now.band }, progress, signal));
const correct = (how) => follow((signal) => readAgain(now.id, how, progress, signal));

// The card was read and the rod was not: a region of it may be, where the browser can show the photo.
async function showUnread(photo, id) {
  now.id = id;
  $("picture").src = URL.createObjectURL(photo);
  try {
    await $("picture").decode();
  } catch {
    return;
  }
  for (const part of ["bands", "ask", "match", "more", "job"]) $(part).hidden = true;
  $("notes").replaceChildren();
  $("strips").replaceChildren(html("p", { class: "empty" }, "No rod was read. A region can be given by hand."));
  $("picture").alt = "The photo, in which no rod was read";
  const size = [$("picture").naturalWidth, $("picture").naturalHeight];
  $("over").setAttribute("viewBox", `-0.5 -0.5 ${size.join(" ")}`);
  $("over").replaceChildren();
  $("found").hidden = $("region").hidden = false;
  $("region").open = true;
  regionTool($("region"), $("over"), size, [], (region, band) => correct({ region, band }));
}

function show(found) {
  const old = now.reading, places = (r) => r?.bands.map((b) => `${b.start_mm} ${b.length_mm}`).join();
  const before = old?.bands[now.band - 1];
  const alike = old && places(old) === places(found.reading); // then a colour alone was corrected
  Object.assign(now, { id: found.id, reading: found.reading, lights: found.lights, band: 0, result: null, pick: 0 });
  sheetOf(found.id, alike);
  for (const id of ["bands", "ask", "match", "found", "region", "more"]) $(id).hidden = false;
  $("region").open = $("edges").open = false;
  now.picture = found.picture;
  drawPicture(found);
  drawNotes();
  drawChips();
  offerPlaces(found.reading);
  const wraps = found.reading.bands.map((b, i) => ({ ...b, number: i + 1 })).filter((b) => b.role !== "blank");
  const middle = before && before.start_mm + before.length_mm / 2; // what was looked at stays so
  const same = before && wraps.find((b) => b.start_mm <= middle && middle <= b.start_mm + b.length_mm);
  wraps.sort((one, other) => other.length_mm - one.length_mm);
  $("edges").hidden = found.reading.bands.at(-1).length_mm === 0;
  drawStrips();
  if (wraps.length > 0) choose((same ?? wraps[0]).number);
}

function drawPicture({ id, picture, reading: r }) {
  $("picture").src = photoOf(id);
  $("picture").alt = `The photo, with the card and ${r.bands.length} bands marked`;
  $("over").setAttribute("viewBox", `-0.5 -0.5 ${picture.width_px} ${picture.height_px}`);
  const points = (outline) => outline.map((p) => p.join(",")).join(" ");
  const size = Math.max(picture.width_px, picture.height_px) / 55;
  const shapes = [svg("polygon", { points: points(r.card.outline_px), class: "card" })];
  if (r.card.opening_px.length > 0) shapes.push(svg("polygon", { points: points(r.card.opening_px), class: "opening" }));
  r.bands.forEach((band, i) => {
    const polygon = svg("polygon", { points: points(band.outline_px), class: "band", "data-band": i + 1 });
    if (band.role !== "blank") polygon.addEventListener("click", () => $("region").open || choose(i + 1));
    const [upper, next, , lower] = band.outline_px; // the number beside the rod, so that it hides no thread
    const out = [upper[0] - lower[0], upper[1] - lower[1]], length = Math.hypot(...out) || 1;
    const x = (upper[0] + next[0]) / 2 + (0.9 * size * out[0]) / length, y = (upper[1] + next[1]) / 2 + (0.9 * size * out[1]) / length;
    shapes.push(polygon, svg("circle", { cx: x, cy: y, r: 0.7 * size }), svg("text", { x, y: y + 0.32 * size, "font-size": 0.95 * size }, String(i + 1)));
  });
  $("over").replaceChildren(...shapes);
}

// Both ask for the band that is chosen.
function drawCorrections() {
  const chosen = now.reading.bands[now.band - 1];
  const wraps = now.reading.bands.map((band, i) => ({ number: i + 1, role: band.role, chosen: i + 1 === now.band })).filter((band) => band.role !== "blank");
  $("over").querySelector(".region")?.remove();
  regionTool($("region"), $("over"), [now.picture.width_px, now.picture.height_px], wraps, (region, band) => correct({ region, band }));
  if (!$("edges").hidden) editEdges($("edges").querySelector("div"), now.reading, chosen, (edges) => correct({ edges }));
}

function drawNotes() {
  const r = now.reading, lines = [...r.warnings];
  const alike = new Map(); // the same note of several bands is said once
  r.bands.forEach((band, i) => band.warnings.forEach((w) => alike.set(w, [...(alike.get(w) ?? []), i + 1])));
  for (const [warning, bands] of alike) lines.push(`${bands.length > 1 ? "bands" : "band"} ${bands.join(", ")}: ${warning}`);
  lines.push(...r.card.dropped.map((note) => `left out: ${note}`));
  const check = r.card.check_error;
  const photos = now.lights.length;
  $("taken").textContent = photos > 1
    ? `${photos} photos are read together${now.lights.some((light) => light) ? `: ${now.lights.map((light) => light || "light not said").join(", ")}` : ""}.`
    : "One photo is read. A second one helps in two cases:";
  const facts = [`${one(r.card.px_per_mm)} px/mm, ${r.card.tilt_degrees.toFixed(0)}° off square`];
  if (r.blank_diameter_mm) facts.push(`blank ${lengthSaid(r.blank_diameter_mm)} across`);
  if (check) facts.push(`check patches off by ${one(check.median)} CIEDE2000 (median), ${one(check.max)} at worst`);
  $("notes").replaceChildren(html("p", {}, facts.join(" · ")), html("ul", {}, ...lines.map((line) => html("li", {}, line))));
}

// Where a second photo would help, in a few words.
function drawHelps() {
  const doubt = Math.max(...spread(now.reading.bands[now.band - 1].covariance)), limit = $("tolerance").valueAsNumber;
  $("helps").textContent = asNew() ? "helps if the thread has faded"
    : now.lights.length === 1 && doubt > limit ? `would help: band ${now.band} is read to ± ${one(doubt)}, and passes within ${limit}` : "";
}

// ---- bands

function drawChips() {
  const chips = now.reading.bands.map((band, i) => {
    const bare = band.role === "blank";
    const input = html("input", { type: "radio", name: "band", value: i + 1, disabled: bare ? "" : null });
    input.addEventListener("change", () => choose(i + 1));
    const [L, a, b] = spread(band.covariance).map(one);
    return html("label", { class: "chip" }, input, swatch(band), html("span", {},
      html("b", {}, `${i + 1} ${role(band)}`), ` ${band.length_mm > 0 ? `${lengthSaid(band.length_mm)}, ` : ""}${band.screen.words}`,
      html("small", {}, inWords(band.lab)), html("small", {}, `95 %: ± ${L}, ${a}, ${b}`)));
  });
  $("chips").replaceChildren($("chips").querySelector("legend"), ...chips);
}

function choose(number) {
  if (now.band !== number) Object.assign(now, { band: number, result: null, pick: 0 });
  for (const input of document.querySelectorAll("[name=band]")) input.checked = Number(input.value) === number;
  for (const polygon of $("over").querySelectorAll("polygon.band"))
    polygon.classList.toggle("chosen", Number(polygon.dataset.band) === number);
  $("shaded-band").textContent = number;
  drawStrips();
  drawCorrections();
  rank();
}

function drawStrips() {
  const lanes = [html("div", { class: "lane" }, html("span", {}, "now"), rodStrip(now.reading, { name: "The rod as it is", chosen: now.band, choose }))];
  const pick = now.result?.candidates[now.pick];
  if (pick)
    lanes.push(html("div", { class: "lane" }, html("span", {}, `band ${now.band} in ${pick.spool}, finished`),
      rodStrip(now.reading, { name: `The rod with ${pick.spool}`, chosen: 0, instead: { band: now.band, colour: pick }, coated: surround(pick)?.coated, choose })));
  if (now.reading.bands.at(-1).length_mm > 0) lanes.push(html("div", { class: "lane scale" }, ruler(now.reading)));
  $("strips").replaceChildren(...lanes);
}

// ---- spools

async function rank() {
  drawHelps();
  $("put").disabled = !now.result; // of another band, or another reading
  ranking?.abort();
  ranking = new AbortController();
  const mine = ranking, { id, band } = now;
  try {
    const result = await matches(id, wanted(band), mine.signal);
    if (mine !== ranking || now.id !== id || now.band !== band) return;
    now.result = result;
    now.pick = 0;
    $("put").disabled = false;
    $("match-status").textContent = `${result.candidates.length} spools for band ${band}`;
    drawPicks();
  } catch (cause) {
    if (cause.name === "AbortError" || mine !== ranking) return;
    now.result = null;
    $("picks").replaceChildren();
    $("putting").hidden = true;
    $("plot").replaceChildren();
    $("target").textContent = "";
    $("match-status").textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  }
  drawStrips();
}

function drawPicks() {
  const { target, candidates, tolerance } = now.result;
  const band = now.reading.bands[now.band - 1];
  const told = (colour) => `${colour.screen.words}, ${inWords(colour.lab)}, 95 %: ± ${spread(colour.covariance).map(one).join(", ")}`;
  $("target").textContent = `Band ${now.band}, ${role(band)}${band.length_mm > 0 ? `, ${lengthSaid(band.length_mm)}` : ""}` + (target.now
    ? `, as it was when new: ${told(target)}. As it looks now: ${told(target.now)}. The old finish lets ${target.transmittance_440.toFixed(2)} of the light at 440 nm through (95 %: ± ${(1.96 * target.transmittance_440_sd).toFixed(2)}). ` +
      "Only amber is undone: if the thread has faded too, add a photo of it where the sun did not reach."
    : `: ${told(target)}`);
  const most = Math.max(3 * tolerance, ...candidates.map((c) => c.interval[1]));
  $("picks").replaceChildren(...candidates.map((c, i) => {
    const input = html("input", { type: "radio", name: "pick", value: i });
    input.checked = i === now.pick;
    input.addEventListener("change", () => pick(i));
    const [low, high] = c.interval.map(one);
    const beyond = c.screen.in_srgb ? [] : [html("small", {}, "more vivid than an ordinary screen shows")];
    return html("li", {}, html("label", { class: "pick" }, input,
      html("span", { class: "pairing" }, html("span", { class: "sides", "aria-hidden": "true" }, html("span", {}, target.now ? "as new" : "old"), html("span", {}, "new")), sideBySide(target, c, surround(c))),
      html("span", { class: "who" }, html("b", {}, c.spool), ` ${c.name}`, html("small", {}, `${c.material}, size ${c.size}`),
        html("small", {}, `${scheduleWords(c)} over ${c.ground}`),
        html("small", {}, `${c.coats === 0 ? "no coats" : c.coats === 1 ? "one coat" : `${c.coats} coats`}${c.steps > c.coats ? " and an underwrap" : ""}`),
        html("small", {}, c.coat_tests === 0 ? "no coat test of this kind yet" : `by ${c.coat_tests} coat ${c.coat_tests === 1 ? "test" : "tests"} of this shop`)),
      html("span", { class: "how-near" }, html("b", {}, one(c.delta_e_at_best)), " CIEDE2000", html("small", {}, `expected ${one(c.delta_e)}, 95 %: ${low} to ${high}`), interval(c, tolerance, most),
        html("small", {}, `${chance(c.pass_chance)} chance to be within ${one(tolerance)}`), ...inLights(c)),
      html("span", { class: "leans" }, c.leans ? `leans ${c.leans}` : "leans no way that shows", html("small", {}, `${c.screen.words}, ${inWords(c.predicted_lab)}`),
        ...beyond, ...c.notes.map((note) => html("small", {}, note)))));
  }));
  drawPlot();
}

// The blank beside the wrap: bare as it was read, and under the coat.
function surround(candidate) {
  const bare = now.reading.bands.filter((b) => b.role === "blank").sort((one, other) => other.length_mm - one.length_mm)[0];
  return bare && { bare, coated: candidate.schedule === "none" ? bare : now.result.coated_blank ?? bare };
}

// From the smoothest spectra that have the two colours: what two dyes do only a second photo shows.
function inLights(candidate) {
  if (!candidate.lights) return [];
  const worst = candidate.lights.reduce((one, other) => (other.delta_e > one.delta_e ? other : one));
  return [html("small", {}, `a guess under ${candidate.lights.map(({ light, delta_e }) => `${light}: ${one(delta_e)}`).join(", ")}${candidate.lights.length > 1 ? `; worst under ${worst.light}` : ""}`)];
}

const chance = (p) => (p < 0.01 ? "under 1 %" : p > 0.99 ? "over 99 %" : `${(100 * p).toFixed(0)} %`);

function drawPlot() {
  const fresh = now.result.candidates[now.pick];
  $("putting").hidden = !fresh;
  if (fresh) $("put").textContent = `Put ${fresh.spool} on the job sheet for band ${now.band}`;
  if (!fresh) return $("plot").replaceChildren();
  $("plot").replaceChildren(whereTheyDiffer(now.result.target, fresh, fresh.spool),
    html("p", {}, `Square: the old band${now.result.target.now ? " as new" : ""}. Circle: ${fresh.spool} when finished. Rings: where each may truly lie (95 %).`));
}

function pick(i) {
  now.pick = i;
  drawPlot();
  drawStrips();
}

$("put").addEventListener("click", () => {
  putOnSheet(now.band, now.reading.bands[now.band - 1], now.reading.blank_diameter_mm, now.result.candidates[now.pick], now.result.target.old_finish);
  $("match-status").textContent = `Band ${now.band} is on the job sheet`;
});

// ---- start

for (const [id, takes] of [["file", take], ["second", takeSecond], ["shaded", takeShaded]]) {
  const chosen = () => {
    const [photo] = $(id).files;
    if (photo) takes(photo);
    $(id).value = ""; // so that the same photo can be chosen again
  };
  $(id).addEventListener("change", chosen);
  chosen(); // before this script was there
}
addEventListener("dragover", (event) => {
  event.preventDefault();
  document.body.classList.add("over");
});
addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) document.body.classList.remove("over");
});
addEventListener("drop", (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  const [photo] = event.dataTransfer.files;
  if (photo) take(photo);
});
offerCamera((photo, camera) => {
  $("by").value = camera; // such a picture does not say it itself
  take(photo);
});
offerWish(() => now.band && rank());
offerCodes();

try {
  const known = await shop();
  $("card").textContent = `${known.card.layout}, values ${known.card.trust}` +
    (known.spools_error ? `. No spools: ${known.spools_error.what}` : `, ${known.spools_in_all} spools in the rack`) +
    (known.settings_error ? `. The shop's settings can't be read: ${known.settings_error.what}` : "");
  await showRack(known);
  await showJobs();
} catch (cause) {
  trouble(cause);
}
