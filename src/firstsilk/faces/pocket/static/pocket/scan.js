// Can the phone read a tag with its camera? Only where the browser itself can; typing always works.

import { readTag } from "./note.js";
import { button, make, show } from "./parts.js";

export const canScan = () => "BarcodeDetector" in window && Boolean(navigator.mediaDevices?.getUserMedia);

/** Show the camera until it sees a tag. */
export async function scanTag({ onTag, onBack }) {
  const video = make("video", { playsinline: true, muted: true, "aria-label": "Camera" });
  const problem = make("p", { class: "problem", role: "alert" });
  let stream = null;
  const stop = () => stream?.getTracks().forEach((track) => track.stop());
  const leave = () => {
    stop();
    onBack();
  };
  show("scan", [make("h1", {}, "Point at the tag"), video, problem], [button("Back", leave, { kind: "quiet" })]);
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
    video.srcObject = stream;
    await video.play();
    while (video.isConnected) {
      const [seen] = await detector.detect(video);
      const read = seen ? readTag(seen.rawValue) : {};
      if (read.tag) {
        stop();
        onTag(read.tag);
        return;
      }
      problem.textContent = read.problem || "";
      await new Promise((resolve) => setTimeout(resolve, 120));
    }
    stop();
  } catch (fault) {
    stop();
    problem.textContent = `The camera does not work here (${fault.name}). Go back and type the tag.`;
  }
}
