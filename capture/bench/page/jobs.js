// The jobs that the shop keeps.
import { jobs, noteOfJob, photoOfJob, Refused, sheetOfJob, toldOf } from "./api.js";
import { html, inWords } from "./draw.js";
import { rodStrip } from "./rod.js";
import { lengthSaid, role, threadSaid } from "./words.js";

const $ = (id) => document.getElementById(id);

function entry(job) {
  const wraps = job.wraps.map((wrap) =>
    `${wrap.count > 1 ? `${wrap.count} × ` : ""}${lengthSaid(wrap.width_mm)} in ${wrap.spool || "a spool not chosen yet"}${wrap.schedule ? `, ${wrap.schedule}` : ""}${wrap.ground ? ` over ${wrap.ground}` : ""}`);
  const parts = [html("p", {}, html("b", {}, job.name), ` ${job.date_said}${job.done ? ", done" : ""}${job.note ? `: ${job.note}` : ""}`),
    html("p", {}, `${wraps.join("; ")}. Thread: ${threadSaid(job.metres)}.`)];
  if (job.trouble) parts.push(html("p", {}, `${job.trouble.what} ${job.trouble.mend}`));
  else parts.push(html("p", {}, html("a", { href: sheetOfJob(job.name), target: "_blank", rel: "noopener" }, `Open the sheet of ${job.name}`), " ",
    html("a", { href: noteOfJob(job.name), target: "_blank", rel: "noopener" }, "and the customer's note")));
  if (job.rod || job.photos.length > 0) {
    const inside = html("div");
    const more = html("details", {}, html("summary", {}, job.rod ? `Reading${job.photos.length > 0 ? " and photos" : ""}` : "Photos"), inside);
    more.addEventListener("toggle", () => { // photos are large: not before they are looked at
      if (!more.open || inside.childNodes.length > 0) return;
      if (job.rod) inside.append(html("div", { class: "lane" }, rodStrip(job.rod, { name: `The old rod of ${job.name}`, chosen: 0 })),
        html("ul", {}, ...job.rod.bands.map((band, i) => html("li", {}, `${i + 1} ${role(band)} ${lengthSaid(band.length_mm)}, ${band.screen.words}, ${inWords(band.lab)}`))));
      job.photos.forEach((photo, i) => {
        const link = html("a", { href: photoOfJob(job.name, i + 1), target: "_blank", rel: "noopener" }, photo);
        const shown = /\.(jpe?g|png)$/i.test(photo) ? [html("img", { src: photoOfJob(job.name, i + 1), alt: `Photo ${i + 1} of ${job.name}` })] : [];
        inside.append(html("figure", {}, ...shown, html("figcaption", {}, link)));
      });
    });
    parts.push(more);
  }
  return html("li", {}, ...parts);
}

export async function showJobs() {
  try {
    const all = await jobs();
    $("jobs-said").textContent = all.jobs.length === 0 ? "No job is kept yet: put a spool on the sheet, and keep it." :
      all.left_off > 0 ? `The newest ${all.jobs.length}; ${all.left_off} more are in the shop's folder.` : "";
    $("kept").replaceChildren(...all.jobs.map(entry));
  } catch (cause) {
    $("jobs-said").textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  }
  $("jobs").hidden = false;
}
