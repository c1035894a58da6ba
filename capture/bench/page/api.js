// What the page asks of `bindhue bench`. Every refusal says what is wrong and how to mend it.

export class Refused extends Error {
  constructor(what, mend) {
    super(what);
    this.mend = mend || "";
  }
}

async function ask(path, options) {
  let response, said;
  try {
    response = await fetch(path, options);
    said = await response.json();
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new Refused("The bench does not answer.", "See that bindhue bench is still running, then try again.");
  }
  if (!response.ok) throw new Refused(said.what, said.mend);
  return said;
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export const shop = () => ask("/api/shop");

// Reads a photo; `onState` hears where it stands. Answers {id, picture, reading}.
export async function read(photo, onState, signal) {
  const { id } = await ask("/api/readings", { method: "POST", body: photo, signal });
  for (;;) {
    const state = await ask(`/api/readings/${id}`, { signal });
    if (state.state === "failed") throw new Refused(state.error.what, state.error.mend);
    if (state.state === "done") return { id, ...state };
    onState(state);
    await pause(150);
  }
}

export const photoOf = (id) => `/api/readings/${id}/photo.jpg`;

// wanted: {band, grounds, schedules, tolerance}
export function matches(id, wanted, signal) {
  const query = new URLSearchParams({ band: wanted.band, tolerance: wanted.tolerance });
  for (const ground of wanted.grounds) query.append("ground", ground);
  for (const schedule of wanted.schedules) query.append("schedule", schedule);
  return ask(`/api/readings/${id}/matches?${query}`, { signal });
}

// asked: "surfaces" or "jobs". Answers the audit once it is done.
export async function rackAudit(asked, signal) {
  for (;;) {
    const audit = await ask(`/api/rack/${asked}`, { signal });
    if (audit.state === "done") return audit;
    await pause(250);
  }
}
