// A camera of this machine: what is to be mended, told while it is held, and a picture taken at its full size.
import { lookAt, Refused, toldOf } from "./api.js";
import { html } from "./draw.js";

const $ = (id) => document.getElementById(id);
const mostPixels = 2.1e6; // of a frame that is only looked at
let stream = null, watching = null;

const canvas = document.createElement("canvas");
function drawn(scale) {
  canvas.width = Math.round($("live").videoWidth * scale);
  canvas.height = Math.round($("live").videoHeight * scale);
  canvas.getContext("2d", { alpha: false }).drawImage($("live"), 0, 0, canvas.width, canvas.height);
}
const blobOf = (type, quality) => new Promise((done) => canvas.toBlob(done, type, quality));
const pause = (ms) => new Promise((done) => setTimeout(done, ms));

let told = "";
function tell(lines) { // a screen reader hears what is new
  const words = lines.join("\n");
  if (words === told) return;
  told = words;
  $("advice").replaceChildren(...lines.map((line) => html("li", {}, line)));
}

async function watch(signal) {
  for (let n = 0; !signal.aborted; ++n) {
    const pixels = $("live").videoWidth * $("live").videoHeight;
    if (pixels > 0) {
      drawn(Math.min(1, Math.sqrt(mostPixels / pixels)));
      const frame = await blobOf("image/jpeg", 0.92);
      const seen = await lookAt(frame, n % 8 === 0, signal);
      if (seen && !signal.aborted) tell(seen.good ? ["Good: hold still and take the picture."] : seen.advice.map(({ what, mend }) => `${what} ${mend}`));
    }
    await pause(120);
  }
}

function stop() {
  watching?.abort();
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
  $("live").srcObject = null;
  $("camera").hidden = true;
  $("use-camera").textContent = "Use a camera of this machine";
}

async function start() {
  if (!isSecureContext || !navigator.mediaDevices?.getUserMedia) {
    $("no-camera").textContent = "A browser gives a page its camera only on this machine's own address. From a phone, choose a photo above: it offers its own camera.";
    return;
  }
  $("no-camera").textContent = "";
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { width: { ideal: 4096 }, height: { ideal: 2160 }, facingMode: "environment" } });
  } catch (cause) {
    $("no-camera").textContent = cause.name === "NotAllowedError" ? "The browser was not allowed to use the camera: allow it beside the address, then try again."
      : "No camera was found: see that one is plugged in and that no other program uses it.";
    return;
  }
  $("live").srcObject = stream;
  await $("live").play();
  $("camera").hidden = false;
  $("use-camera").textContent = "Stop the camera";
  watching = new AbortController();
  try {
    await watch(watching.signal);
  } catch (cause) {
    if (cause.name === "AbortError") return;
    stop();
    $("no-camera").textContent = toldOf(cause);
    if (!(cause instanceof Refused)) throw cause;
  }
}

// take(photo, camera) reads what was taken; `camera`: what the browser calls it.
export function offerCamera(take) {
  $("use-camera").addEventListener("click", () => (stream ? stop() : start()));
  $("shoot").addEventListener("click", async () => {
    drawn(1);
    const photo = await blobOf("image/png"), camera = stream.getVideoTracks()[0].label.slice(0, 60);
    stop();
    take(photo, camera);
  });
}
