// What the page asks of `bindhue bench`. Every refusal says what is wrong and how to mend it.

export class Refused extends Error {
  constructor(what, mend) {
    super(what);
    this.mend = mend || "";
  }
}

// How far a photo is.
export const progressOf = (state) => (state.state === "waiting" ? "Other photos are before this one" : `${state.step} of ${state.steps}: ${state.doing}`);

// What somebody is told of what went wrong.
export const toldOf = (cause) => (cause instanceof Refused ? `${cause.message} ${cause.mend}` : "The page went wrong: load it again.");

async function ask(path, options) {
  let response, said;
  try {
    response = await fetch(path, options);
    said = await response.json();
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new Refused("The bench does not answer.", "See that bindhue bench is still running, then try again.");
  }
  if (!response.ok) throw Object.assign(new Refused(said.what, said.mend), { status: response.status });
  return said;
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export const shop = () => ask("/api/shop");
// Spools whose code, name, material, size or lot has the text in it. Answers {in_all, found, spools[]}.
export const spoolsLike = (find, top, signal) => ask(`/api/spools?${new URLSearchParams({ find, top })}`, { signal });

// Waits for a reading; `onState` hears where it stands. Answers {id, picture, reading}.
async function readingOf({ id }, onState, signal) {
  for (;;) {
    const state = await ask(`/api/readings/${id}`, { signal });
    if (state.state === "failed") throw Object.assign(new Refused(state.error.what, state.error.mend), { id, cardWasRead: state.card_was_read });
    if (state.state === "done") return { id, ...state };
    onState(state);
    await pause(150);
  }
}

// about: {light, camera, with, band}, `with` being the reading of another photo of the same wrap, or, with a band, of the same thread.
export async function read(photo, about, onState, signal) {
  return readingOf(await ask(`/api/readings?${new URLSearchParams({ ...about, name: photo.name ?? "" })}`, { method: "POST", body: photo, signal }), onState, signal);
}

// how: {edges} or {region, band}
export async function readAgain(id, how, onState, signal) {
  return readingOf(await ask(`/api/readings/${id}/again`, { method: "POST", body: new URLSearchParams(how), signal }), onState, signal);
}

// A frame of a camera; `rod`: whether the rod is looked for too. Answers {good, card, advice[]}, or nothing while another frame is being looked at.
export async function lookAt(frame, rod, signal) {
  try {
    return await ask(`/api/frames?rod=${rod ? 1 : 0}`, { method: "POST", body: frame, signal });
  } catch (cause) {
    if (cause instanceof Refused && cause.status === 503) return null;
    throw cause;
  }
}

// form: the spools of bands, see enrol_answer.
export const enrol = (id, form) => ask(`/api/readings/${id}/spools`, { method: "POST", body: form });
// form: a test wrap before and after coating, see coat_check_answer.
export const checkCoat = (form) => ask(`/api/coats/check?${form}`);
export const keepCoat = (form) => ask("/api/coats", { method: "POST", body: form });
export const keepJob = (id, form) => ask(`/api/readings/${id}/job`, { method: "POST", body: form });
export const jobs = () => ask("/api/jobs");
export const sheetOfJob = (name) => `/api/jobs/${name}/sheet.html`;
export const noteOfJob = (name) => `/api/jobs/${name}/note.html`;
export const photoOfJob = (name, number) => `/api/jobs/${name}/photos/${number}`;

export const photoOf = (id) => `/api/readings/${id}/photo.jpg`;

// wanted: {band, grounds, schedules, tolerance, lights, old_finish: {amber, amber_bare, amber_coated} or nothing}
export function matches(id, wanted, signal) {
  const query = new URLSearchParams({ band: wanted.band, tolerance: wanted.tolerance });
  for (const ground of wanted.grounds) query.append("ground", ground);
  for (const schedule of wanted.schedules) query.append("schedule", schedule);
  for (const light of wanted.lights) query.append("light", light);
  if (wanted.old_finish) for (const [name, value] of Object.entries({ as_new: 1, ...wanted.old_finish })) query.set(name, value);
  return ask(`/api/readings/${id}/matches?${query}`, { signal });
}

async function reckoned(path, signal) {
  for (;;) {
    const answer = await ask(path, { signal });
    if (answer.state === "done") return answer;
    await pause(250);
  }
}

// asked: "surfaces" or "jobs". Answers the audit once it is done.
export const rackAudit = (asked, signal) => reckoned(`/api/rack/${asked}`, signal);
export const coatTests = () => reckoned("/api/coats");
