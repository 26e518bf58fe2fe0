// Which tag is this? The camera or a photo reads it; typing it always works too.

import { canRead, openCamera } from "./codes.js";
import { readTag } from "./note.js";
import { button, make, show } from "./parts.js";
import { say } from "./words.js";

export const canScan = canRead;

/** Show the camera until it sees a tag; `skip` is one that it has seen already and that may still lie before it. */
export function scanTag({ title = say("scan.tag"), told = "", skip = "", onTag, onBack }) {
  const problem = make("p", { class: "problem", role: "alert" });
  const tell = (text) => {
    problem.textContent = text;
  };
  const camera = openCamera({
    onProblem: tell,
    onTexts(texts) {
      const read = texts.map(readTag).filter(({ tag }) => !tag || tag !== skip);
      const found = read.find((one) => one.tag);
      if (found) onTag(found.tag);
      else if (read.length) tell(say(`tag.${read[0].code}`, read[0].values));
      return Boolean(found);
    },
  });
  const leave = () => {
    camera.stop();
    onBack();
  };
  show("scan", [make("h1", {}, title), told ? make("p", { class: "saved", role: "status" }, told) : "", camera.video, problem], [
    camera.light,
    camera.photo,
    button(say("scan.type"), leave, { kind: "quiet", image: "previous" }),
  ]);
  camera.start();
}
