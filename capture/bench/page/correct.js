// What the reading got wrong, put right by hand: where bands meet, and which part of the photo to read.
import { html, svg } from "./draw.js";
import { rodStrip } from "./rod.js";
import { fine, fineStep, length, lengthSaid, millimetres, unit } from "./words.js";

const apart = 0.5; // millimetres: no band is shorter
const unseen = 1.5; // millimetres, at each end of the opening: in the card's own shadow

// A strip with a handle on each place where bands meet. `apply(edges)` reads by them.
export function editEdges(root, reading, chosen, apply) {
  const begin = reading.bands[0].start_mm, end = reading.bands.at(-1).start_mm + reading.bands.at(-1).length_mm;
  const found = reading.bands.slice(1).map((band) => band.start_mm);
  let edges = found.map((at) => ({ at }));
  const strip = html("div", { class: "edges" });
  const list = html("ol", { class: "edge-list" });
  const said = html("p", { role: "status" });
  const read = html("button", { type: "button" }, "Read by these edges");
  const back = html("button", { type: "button", class: "plain" }, "Back to those that were read");
  const divide = html("button", { type: "button", class: "plain" }, "");

  const room = (i) => [i === 0 ? begin + unseen : edges[i - 1].at, i === edges.length - 1 ? end - unseen : edges[i + 1].at];
  const name = (i) => `Edge between bands ${i + 1} and ${i + 2}`;
  const move = (i, to) => {
    const [low, high] = room(i);
    edges[i].at = Math.min(high - apart, Math.max(low + apart, to));
    place(i);
    changed();
  };
  const place = (i) => {
    const { handle, field, at } = edges[i];
    handle.style.left = `${(100 * (at - begin)) / (end - begin)}%`;
    handle.setAttribute("aria-valuenow", at.toFixed(1));
    handle.setAttribute("aria-valuetext", lengthSaid(at));
    const [low, high] = room(i);
    handle.setAttribute("aria-valuemin", low.toFixed(1));
    handle.setAttribute("aria-valuemax", high.toFixed(1));
    if (document.activeElement !== field) field.value = fine(at);
  };
  const same = () => edges.length === found.length && edges.every((edge, i) => Math.abs(edge.at - found[i]) < 0.005);
  const changed = () => (read.disabled = back.disabled = same());
  const join = (i, words) => {
    edges.splice(i, 1);
    draw();
    said.textContent = words ?? `Bands ${i + 1} and ${i + 2} are one now`;
    (edges[Math.min(i, edges.length - 1)]?.handle ?? divide).focus();
  };

  function draw() {
    for (const [i, edge] of edges.entries()) {
      edge.handle = html("span", { role: "slider", tabindex: 0, class: "handle", "aria-label": name(i) });
      edge.handle.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        edge.handle.focus();
        edge.handle.setPointerCapture(event.pointerId);
      });
      edge.handle.addEventListener("pointermove", (event) => {
        if (!edge.handle.hasPointerCapture(event.pointerId)) return;
        const box = strip.getBoundingClientRect();
        move(i, begin + ((event.clientX - box.left) / box.width) * (end - begin));
      });
      edge.handle.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: -0.1, ArrowDown: -0.1, ArrowRight: 0.1, ArrowUp: 0.1, PageDown: -1, PageUp: 1 }[event.key];
        if (step) move(i, edge.at + step);
        else if (event.key === "Delete" || event.key === "Backspace") join(i);
        else return;
        event.preventDefault();
      });
      edge.field = html("input", { type: "number", step: fineStep, inputmode: "decimal", "aria-label": `${name(i)}, ${unit}` });
      edge.field.addEventListener("input", () => Number.isFinite(edge.field.valueAsNumber) && move(i, millimetres(edge.field.valueAsNumber)));
      edge.field.addEventListener("blur", () => place(i));
      edge.joined = html("button", { type: "button", class: "plain" }, `Join ${i + 1} and ${i + 2}`);
      edge.joined.addEventListener("click", () => join(i));
    }
    strip.replaceChildren(rodStrip(reading, { name: "The rod to correct", chosen: 0 }), ...edges.map((edge) => edge.handle));
    list.replaceChildren(...edges.map((edge, i) => html("li", {}, html("span", {}, `${i + 1} | ${i + 2}`), edge.field, ` ${unit} `, edge.joined)));
    edges.forEach((_, i) => place(i));
    const long = longest();
    divide.textContent = `Divide the band at ${length(long[0])} to ${lengthSaid(long[1])}`;
    divide.hidden = long[1] - long[0] < 2 * apart;
    changed();
  }
  // The run of which the chosen band is a part, to be divided in its middle.
  function longest() {
    const middle = chosen.start_mm + chosen.length_mm / 2;
    const ends = [begin, ...edges.map((edge) => edge.at), end];
    const i = Math.max(0, ends.findLastIndex((at) => at <= middle));
    return [ends[i], ends[Math.min(i + 1, ends.length - 1)]];
  }
  divide.addEventListener("click", () => {
    const [low, high] = longest();
    const edge = { at: (low + high) / 2 };
    edges = [...edges, edge].sort((a, b) => a.at - b.at);
    draw();
    said.textContent = "Divided: move the new edge to its place";
    edge.handle.focus();
  });
  back.addEventListener("click", () => {
    edges = found.map((at) => ({ at }));
    draw();
    said.textContent = "";
  });
  read.addEventListener("click", () => apply(edges.map((edge) => Number(edge.at.toFixed(2)))));
  draw();
  root.replaceChildren(html("p", {}, "Drag an edge, or move it by the arrow keys; Delete joins the two bands beside it."), strip, list,
    html("p", { class: "buttons" }, read, back, divide), said);
}

// A box drawn on the photo, by pointer or by numbers. `apply([x, y, width, height], band)` reads it.
export function regionTool(root, over, [width, height], wraps, apply) {
  const box = svg("rect", { class: "region" });
  over.append(box);
  const fields = ["from the left", "from the top", "wide", "high"].map((words, i) =>
    html("input", { type: "number", min: 0, step: 1, inputmode: "numeric", "aria-label": `Region, pixels ${words}`, max: i % 2 === 0 ? width : height }));
  const as = html("select", {}, ...wraps.map((band) => html("option", { value: band.number, selected: band.chosen ? "" : null }, `as the colour of band ${band.number}`)),
    html("option", { value: 0 }, "alone"));
  const read = html("button", { type: "button" }, "Read this region");
  const values = () => fields.map((field) => field.valueAsNumber);
  const draw = () => {
    const [x, y, w, h] = values();
    const good = [x, y, w, h].every(Number.isFinite) && w >= 2 && h >= 2;
    read.disabled = !good;
    if (good) for (const [name, value] of Object.entries({ x, y, width: w, height: h })) box.setAttribute(name, value);
    box.setAttribute("visibility", good ? "visible" : "hidden");
  };
  const set = (numbers) => {
    numbers.forEach((number, i) => (fields[i].value = Math.round(number)));
    draw();
  };
  const pixel = (event) => {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(over.getScreenCTM().inverse());
    return [Math.max(0, Math.min(width - 1, p.x)), Math.max(0, Math.min(height - 1, p.y))];
  };
  let from = null;
  const begin = (event) => {
    if (!root.open) return;
    from = pixel(event);
    over.setPointerCapture(event.pointerId);
    event.preventDefault();
  };
  const drag = (event) => {
    if (!from) return;
    const to = pixel(event);
    set([Math.min(from[0], to[0]), Math.min(from[1], to[1]), Math.abs(to[0] - from[0]), Math.abs(to[1] - from[1])]);
  };
  over.onpointerdown = begin;
  over.onpointermove = drag;
  over.onpointerup = over.onpointercancel = () => (from = null);
  for (const field of fields) field.addEventListener("input", draw);
  read.addEventListener("click", () => apply(values().map(Math.round), Number(as.value)));
  root.ontoggle = () => over.classList.toggle("drawing", root.open);
  over.classList.toggle("drawing", root.open);
  root.querySelector("div").replaceChildren(
    html("p", {}, "Draw a box on the photo, on even thread that mirrors nothing bright, or give it in pixels. Mirrored light is then guessed, not taken out: the interval is wider."),
    html("div", { class: "numbers" }, ...["x", "y", "width", "height"].map((words, i) => html("label", {}, words, fields[i]))),
    html("label", { class: "field" }, "Take it ", as), html("p", { class: "buttons" }, read));
  draw();
}
