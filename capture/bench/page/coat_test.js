// A test wrap read dry and when its coat has cured: did the coat do what was to be expected? And kept, so that the shop learns from it.
import { checkCoat, keepCoat, progressOf, read, Refused, toldOf } from "./api.js";
import { html, inWords, one, swatch, table } from "./draw.js";
import { lengthSaid, role, words } from "./words.js";

const $ = (id) => document.getElementById(id);
const kinds = "image/*,.heic,.heif,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2,.tif,.tiff";
const said = html("p", { role: "status", id: "test-said" });
const light = html("input", { type: "text", maxlength: 60, autocomplete: "off", list: "lights", id: "test-light" });
const camera = html("input", { type: "text", maxlength: 60, autocomplete: "off", id: "test-by", placeholder: "as the photo says" });
const form = html("form", { id: "test-form" });
const result = html("div");
const done = { before: null, after: null }; // readings

const say = (cause) => {
  if (cause.name === "AbortError") return;
  said.textContent = toldOf(cause);
  if (!(cause instanceof Refused)) throw cause;
};

// One of the two photos, and which of its bands the test is.
function side(name, label) {
  const file = html("input", { type: "file", id: `test-${name}`, accept: kinds });
  const band = html("select", { id: `test-${name}-band` });
  const which = html("label", { class: "field" }, "its band ", band);
  which.hidden = true;
  let working = null;
  file.addEventListener("change", async () => {
    const [photo] = file.files;
    file.value = "";
    if (!photo) return;
    working?.abort();
    working = new AbortController();
    done[name] = null;
    which.hidden = true;
    ready();
    said.textContent = "Bringing the photo in";
    try {
      const found = await read(photo, { light: light.value, camera: camera.value }, (state) => (said.textContent = progressOf(state)), working.signal);
      done[name] = found;
      band.replaceChildren(html("option", { value: "" }, name === "before" ? words("the longest {wrap}") : words("the {wrap} in the same place")),
        ...found.reading.bands.map((b, i) => html("option", { value: i + 1 }, `${i + 1} ${role(b)}${b.length_mm > 0 ? `, ${lengthSaid(b.length_mm)}` : ""}, ${b.screen.words}`)));
      which.hidden = false;
      said.textContent = done.before && done.after ? "Both photos are read: say what was wound and put on" : `${label} is read`;
    } catch (cause) {
      say(cause);
    }
    ready();
  });
  return html("div", { class: "field" }, html("label", { for: `test-${name}` }, label), file, which);
}

const spool = html("input", { type: "text", list: "codes", maxlength: 60, autocomplete: "off", id: "test-spool" });
const schedule = html("select", { id: "test-schedule" }, html("option", { value: "finish" }, "finish"), html("option", { value: "preserver+finish" }, "preserver, then finish"));
const ground = html("input", { type: "text", maxlength: 80, autocomplete: "off", id: "test-ground", placeholder: "the blank as read before" });
const check = html("button", { type: "submit" }, "Check it");
const keep = html("button", { type: "button", id: "test-keep" }, "Keep it as a coat test");
const ready = () => (check.disabled = keep.disabled = !(done.before && done.after));

function what() {
  const out = new URLSearchParams({ before: done.before.id, after: done.after.id, spool: spool.value.trim(), schedule: schedule.value });
  if (ground.value.trim()) out.set("ground", ground.value.trim());
  for (const name of ["before", "after"]) if ($(`test-${name}-band`).value) out.set(`${name}_band`, $(`test-${name}-band`).value);
  return out;
}

const estimate = ({ value, interval: [low, high] }) => `${value >= 0 ? "+" : ""}${one(value)} (${one(low)} to ${one(high)})`;
function show(told) {
  const look = (name, colour) => [name, [swatch(colour), colour.screen.words, html("small", {}, inWords(colour.lab))]];
  const hue = (shift) => (shift.h ? estimate(shift.h) : "too grey to say");
  result.replaceChildren(
    html("p", {}, html("b", {}, told.words.split(": ")[0]), `: ${told.words.split(": ").slice(1).join(": ")}`), html("p", {}, told.expectation),
    table("Looks", ["", "colour"], [look("dry", told.dry), look("finished, seen", told.finished), look("finished, expected", told.expected)]),
    table("What the coat did", ["shift", "measured (95 %)", "expected (95 %)"],
      [["L*", (s) => estimate(s.L)], ["C*", (s) => estimate(s.C)], ["h, degrees", hue], ["CIEDE2000", (s) => estimate(s.delta_e)]].map(([name, of]) => [name, of(told.shift), of(told.expected_shift)])));
}

async function send(ask, words) {
  check.disabled = keep.disabled = true;
  try {
    const told = await ask(what());
    show(told);
    said.textContent = words(told);
  } catch (cause) {
    result.replaceChildren();
    say(cause);
  } finally {
    ready();
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  send(checkCoat, (told) => `The coat is ${told.verdict === "can't tell" ? "one of which nothing can be told yet" : told.verdict}`);
});
keep.addEventListener("click", () => send(keepCoat, (told) => `Kept: the shop has ${told.tests} coat ${told.tests === 1 ? "test" : "tests"}, and predicts by them from now on`));

form.append(html("p", {}, words("One layer over the bare blank, read dry and again when the coat has cured, by one camera, card and light. A {wrap} that is only wet with water is no test. Uncured resin and hardener can sensitise skin and burn.")),
  html("label", { class: "field" }, "Taken under ", light), html("label", { class: "field" }, "by camera ", camera), side("before", "Photo before coating, dry"), side("after", "Photo when the coat has cured"),
  html("label", { class: "field" }, "spool ", spool), html("label", { class: "field" }, "what was put on ", schedule),
  html("label", { class: "field" }, "over ", ground, html("small", {}, "empty, or white, dark, underwrap:CODE or L,a,b")),
  html("p", { class: "buttons" }, check, keep), said, result);
ready();
$("test").querySelector("div").replaceChildren(form);
