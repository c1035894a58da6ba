// The spools of the rack: their codes wherever one is typed, and the table.
import { spoolsLike } from "./api.js";

const $ = (id) => document.getElementById(id);

let latest = 0;
async function offer(text) {
  const mine = ++latest;
  const { spools } = await spoolsLike(text, 20);
  if (mine !== latest) return;
  const options = spools.map((spool) => {
    const option = document.createElement("option");
    option.value = spool.code;
    option.label = `${spool.name} (${spool.material} ${spool.size})`;
    return option;
  });
  $("codes").replaceChildren(...options);
}

// Of a rack of thousands those are offered that the text may mean.
export function offerCodes() {
  let soon = 0;
  const ask = (event) => {
    if (event.target.getAttribute?.("list") !== "codes") return;
    clearTimeout(soon);
    soon = setTimeout(() => offer(event.target.value).catch(() => {}), 120); // without an offer it can still be typed
  };
  addEventListener("input", ask);
  addEventListener("focusin", ask);
}
