// Spools into the rack by a photo of their dry thread: a code beside each band, and all are kept or none.
import { enrol, progressOf, read, Refused, toldOf } from "./api.js";
import { html, inWords, one, spread, swatch, table } from "./draw.js";
import { lengthSaid } from "./words.js";

const $ = (id) => document.getElementById(id);
const kinds = "image/*,.heic,.heif,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2,.tif,.tiff";

const text = (name, label, more = {}) => html("label", { class: "field" }, label, html("input", { name, type: "text", maxlength: 60, autocomplete: "off", ...more }));

// How far a spool has moved since it was last read, in words.
function drift(spool) {
  if (spool.known) return "this very reading was there already";
  if (!spool.drift) return "new spool";
  const { delta_e, interval: [low, high], beyond_chance, leans, since } = spool.drift;
  return `${beyond_chance ? `drift: ${leans}` : "no drift"}, ${one(delta_e)} CIEDE2000 (95 %: ${one(low)} to ${one(high)})${since ? `, since ${since}` : ""}`;
}

const rowsOf = (spools) => table("What was read", ["spool", "band", "colour", "95 % ±", "from its last reading"],
  spools.map((s) => [s.code, String(s.band), [swatch(s), s.screen.words, html("small", {}, inWords(s.lab))], spread(s.covariance).map(one).join(", "), drift(s)]));

// `kept()` is called when the rack has changed.
export function offerEnrol(materials, kept) {
  const file = html("input", { type: "file", id: "enrol-photo", accept: kinds });
  const light = html("input", { type: "text", maxlength: 60, autocomplete: "off", list: "lights", id: "enrol-light" });
  const camera = html("input", { type: "text", maxlength: 60, autocomplete: "off", id: "enrol-by", placeholder: "as the photo says" });
  const said = html("p", { role: "status", id: "enrol-said" });
  const form = html("form", { id: "enrol-form" });
  form.hidden = true;
  const result = html("div");
  let id = null, working = null;

  const say = (cause) => {
    if (cause.name === "AbortError") return;
    said.textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  };

  function ask(found) {
    id = found.id;
    const bands = found.reading.bands.map((band, i) => ({ ...band, number: i + 1 }));
    const rows = bands.map((band) => html("li", {}, swatch(band),
      html("span", {}, html("b", {}, `band ${band.number}`), ` ${band.role === "blank" ? "looks like bare stick" : "thread"}${band.length_mm > 0 ? `, ${lengthSaid(band.length_mm)}` : ""}, ${band.screen.words}`, html("small", {}, inWords(band.lab))),
      html("label", {}, "spool ", html("input", { type: "text", list: "codes", maxlength: 60, autocomplete: "off", "data-band": band.number, "aria-label": `Spool of band ${band.number}`, placeholder: "code, or leave empty" }))));
    const changed = html("input", { type: "checkbox", name: "changed", value: 1 });
    const insist = html("label", { class: "tick" }, changed, " The thread itself has changed (faded, soiled): earlier readings are set aside");
    insist.hidden = true;
    form.replaceChildren(
      html("ul", { class: "bands-to-enrol" }, ...rows),
      html("fieldset", {}, html("legend", {}, "Of spools that are new to the rack"),
        html("label", { class: "field" }, "material ", html("select", { name: "material" }, html("option", { value: "" }, ""), ...materials.map((m) => html("option", {}, m)))),
        text("size_mm", "thread's diameter, mm ", { inputmode: "decimal", size: 6 }), text("name", "name "), text("size", "size ", { size: 6 }), text("lot", "lot ", { size: 8 }),
        text("metres_left", "left, m ", { inputmode: "decimal", size: 6 })),
      insist, html("p", { class: "buttons" }, html("button", { type: "submit" }, "Keep these readings")));
    form.hidden = false;
    result.replaceChildren();
    form.onsubmit = async (event) => {
      event.preventDefault();
      const what = new URLSearchParams();
      for (const input of form.querySelectorAll("[data-band]")) if (input.value.trim()) what.append("spool", `${input.dataset.band}|${input.value.trim()}`);
      for (const name of ["material", "size_mm", "name", "size", "lot", "metres_left"]) if (form.elements[name].value.trim()) what.set(name, form.elements[name].value.trim());
      what.set("changed", changed.checked ? 1 : 0);
      try {
        const done = await enrol(id, what);
        result.replaceChildren(rowsOf(done.spools), ...(done.spools.some((s) => s.drift && !s.drift.same_kind)
          ? [html("p", {}, "Compared with a reading by another camera, card or light, or one that is not known: only large drifts are seen.")] : []));
        insist.hidden = done.kept;
        said.textContent = done.kept ? `${done.spools.length === 1 ? "One reading is" : `${done.spools.length} readings are`} in the rack` : `${done.refused.what} ${done.refused.mend}`;
        if (done.kept) {
          form.hidden = true;
          kept();
        }
      } catch (cause) {
        result.replaceChildren();
        say(cause);
      }
    };
  }

  file.addEventListener("change", async () => {
    const [photo] = file.files;
    file.value = "";
    if (!photo) return;
    working?.abort();
    working = new AbortController();
    form.hidden = true;
    result.replaceChildren();
    said.textContent = "Bringing the photo in";
    try {
      const found = await read(photo, { light: light.value, camera: camera.value }, (state) => (said.textContent = progressOf(state)), working.signal);
      said.textContent = `${found.reading.bands.length} bands found: write beside each band of thread the code of its spool`;
      ask(found);
    } catch (cause) {
      say(cause);
    }
  });
  $("enrol").querySelector("div").replaceChildren(
    html("p", {}, "Dry thread, on its spool or wound close on a test stick, in the card's opening; several spools in a row in one photo. A spool that is in the rack gets one more reading, and is compared with those before: where one has drifted beyond chance, nothing of the photo is kept."),
    html("label", { class: "field" }, "Taken under ", light), html("label", { class: "field" }, "by camera ", camera), html("label", { class: "field", for: "enrol-photo" }, "Photo of dry thread"), file, said, form, result);
}
