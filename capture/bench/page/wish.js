// What is asked of the rack: what the match is for, and what it may take.
import { Refused } from "./api.js";
import { html } from "./draw.js";

const $ = (id) => document.getElementById(id);
const ticked = (name) => [...document.querySelectorAll(`[name=${name}]:checked:not(:disabled)`)].map((input) => input.value);

export const asNew = () => ticked("purpose")[0] === "new";

// How amber the old finish is, as it was said; nothing where the match is to be as the band looks now.
function oldFinish() {
  if (!asNew()) return null;
  if (ticked("amber")[0] === "said") {
    const amber = $("amber").valueAsNumber;
    if (!(amber >= 0.05 && amber <= 1)) throw new Refused("The share of light is no number from 0.05 to 1.", "1 is a clear finish, 0.75 a plainly amber one.");
    return { amber };
  }
  const [bare, coated] = [$("amber-bare").value.trim(), $("amber-coated").value.trim()];
  if (!bare || !coated) throw new Refused("How amber the old finish is must be known to undo it.", "Give one place without it and under it, each as the number of a band or as L,a,b; or say the share of light.");
  return { amber_bare: bare, amber_coated: coated };
}

// Says what is chosen, and answers it. Throws Refused.
export function wanted(band) {
  const grounds = ticked("ground"), schedules = ticked("schedule"), lights = ticked("judged");
  if ($("underwrap").value.trim()) grounds.push(`underwrap:${$("underwrap").value.trim()}`);
  $("chosen").textContent = `${asNew() ? "as it was when new" : "as it looks now"}; over ${grounds.join(", ") || "nothing"}; ${schedules.join(", ") || "no schedule"}; within ${$("tolerance").value}` +
    (lights.length > 0 ? `; in ${lights.join(", ")}` : "");
  if (grounds.length === 0) throw new Refused("No ground is chosen.", "Tick at least one: what lies under the thread changes its colour.");
  if (schedules.length === 0) throw new Refused("No schedule is chosen.", "Tick at least one.");
  const tolerance = $("tolerance").valueAsNumber;
  if (!(tolerance >= 0.1 && tolerance <= 20)) throw new Refused("The limit is no number from 0.1 to 20.", "2 is usual.");
  return { band, grounds, schedules, tolerance, lights, old_finish: oldFinish() };
}

// Of a new reading: whether there is a blank to be wound over, and which places there are.
export function offerPlaces(reading) {
  const bare = !reading.bands.some((b) => b.role === "blank");
  const asRead = document.querySelector("[name=ground][value=blank]");
  asRead.disabled = bare;
  if (bare && asRead.checked) {
    asRead.checked = false;
    document.querySelector("[name=ground][value=dark]").checked = true;
  }
  $("places").replaceChildren(...reading.bands.map((band, i) => html("option", { value: i + 1, label: `band ${i + 1}: ${band.role}, ${band.screen.words}` })));
}

// `change()` is called when something else is asked.
export function offerWish(change) {
  const aged = () => ($("aged").hidden = !asNew());
  let soon = 0;
  for (const id of ["form", "purpose"])
    $(id).addEventListener("input", (event) => {
      if (event.target.id === "amber") document.querySelector("[name=amber][value=said]").checked = true;
      if (event.target.id === "amber-bare" || event.target.id === "amber-coated") document.querySelector("[name=amber][value=read]").checked = true;
      aged();
      clearTimeout(soon);
      soon = setTimeout(change, 200);
    });
  $("form").addEventListener("submit", (event) => event.preventDefault());
  $("choices").open = matchMedia("(min-width: 60rem)").matches; // on a phone the spools come first
  aged();
}
