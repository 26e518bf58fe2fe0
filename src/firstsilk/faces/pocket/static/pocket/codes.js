// What does the camera see? QR codes, read by the browser itself where it can, else by zxing-wasm in a worker.

import { button, make } from "./parts.js";
import { say } from "./words.js";

const WIDEST = 1280;
/** Time between two looks at most, so that a phone stays cool. */
const PAUSE_MS = 60;

const root = document.body.dataset.root;
let reader = null;

export const hasCamera = () => Boolean(navigator.mediaDevices?.getUserMedia);

/** Whether codes can be read here at all: from the camera, or from a photo. */
export const canRead = () => "BarcodeDetector" in window || "WebAssembly" in window;

/** What reads pictures here; made when first asked, and then kept. */
export function openReader() {
  reader ||= makeReader();
  return reader;
}

async function makeReader() {
  const formats = (await window.BarcodeDetector?.getSupportedFormats?.().catch(() => [])) || [];
  if (!formats.includes("qr_code")) return readInWorker(new Worker(`${root}own/scan_worker.js`));
  const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
  return async (source) => (await detector.detect(source)).map((one) => one.rawValue);
}

function readInWorker(worker) {
  const canvas = document.createElement("canvas");
  const waiting = new Map();
  let calls = 0;
  worker.addEventListener("message", ({ data: { call, texts, fault } }) => {
    const { resolve, reject } = waiting.get(call);
    waiting.delete(call);
    if (fault) reject(new Error(fault));
    else resolve(texts);
  });
  worker.addEventListener("error", (event) => {
    for (const { reject } of waiting.values()) reject(new Error(event.message || "the reader stopped"));
    waiting.clear();
    reader = null;
  });
  return (source) => new Promise((resolve, reject) => {
    const [wide, high] = [source.videoWidth || source.width, source.videoHeight || source.height];
    if (!wide || !high) {
      resolve([]);
      return;
    }
    const shrunk = Math.min(1, WIDEST / Math.max(wide, high));
    canvas.width = Math.round(wide * shrunk);
    canvas.height = Math.round(high * shrunk);
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(source, 0, 0, canvas.width, canvas.height);
    const image = pen.getImageData(0, 0, canvas.width, canvas.height);
    calls += 1;
    waiting.set(calls, { resolve, reject });
    worker.postMessage({ call: calls, image }, [image.data.buffer]);
  });
}

/** The camera as part of a screen: a picture, a light where there is one, and a photo where there is no camera.
 *
 * `onTexts` gets what each look saw and gives back true once it has what it wants. */
export function openCamera({ onTexts, onProblem }) {
  const video = make("video", { playsinline: true, muted: true, "aria-label": say("scan.camera") });
  const light = make("div", {});
  let stream = null;
  let over = false;
  const stop = () => {
    over = true;
    stream?.getTracks().forEach((track) => track.stop());
  };
  const look = async () => {
    const read = await openReader();
    while (!over && video.isConnected) {
      const began = performance.now();
      if (onTexts(await read(video))) stop();
      await new Promise((resolve) => setTimeout(resolve, Math.max(10, PAUSE_MS - (performance.now() - began))));
    }
    stop();
  };
  const start = async () => {
    if (!hasCamera()) {
      video.remove();
      return;
    }
    try {
      const wanted = { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } };
      stream = await navigator.mediaDevices.getUserMedia({ video: wanted });
      if (over || !video.isConnected) {
        stop();
        return;
      }
      video.srcObject = stream;
      await video.play();
      offerLight(stream.getVideoTracks()[0], light);
      await look();
    } catch (fault) {
      stop();
      video.remove();
      if (document.body.dataset.screen === "scan") onProblem(say("scan.fails", { why: fault.name }));
    }
  };
  return { video, light, photo: makePhoto({ onTexts, onProblem, stop }), start, stop };
}

function offerLight(track, place) {
  if (!track.getCapabilities?.().torch) return;
  const shine = (on) => track.applyConstraints({ advanced: [{ torch: on }] }).then(() => {
    place.replaceChildren(button(say(on ? "scan.light.off" : "scan.light.on"), () => shine(!on), { "aria-pressed": String(on) }));
  }).catch(() => place.replaceChildren());
  place.replaceChildren(button(say("scan.light.on"), () => shine(true), { "aria-pressed": "false" }));
}

/** Photos taken by the phone's own camera page: they work where a page gets no camera. */
function makePhoto({ onTexts, onProblem, stop }) {
  const field = make("input", { type: "file", accept: "image/*", multiple: true, hidden: true, "aria-label": say("scan.photo") });
  field.addEventListener("change", async () => {
    try {
      const read = await openReader();
      for (const file of field.files) {
        const texts = await read(await createImageBitmap(file));
        if (!texts.length) onProblem(say("scan.photo.none"));
        else if (onTexts(texts)) {
          stop();
          return;
        }
      }
    } catch {
      onProblem(say("scan.photo.none"));
    } finally {
      field.value = "";
    }
  });
  return [button(say("scan.photo"), () => field.click()), field];
}
