// How does one hear and feel what became of it, without looking? Right, doubt and not saved differ in both.

const TONES = {
  right: { notes: [[880, 0, 0.09], [1320, 0.1, 0.14]], buzz: 80 },
  doubt: { notes: [[330, 0, 0.2], [262, 0.26, 0.3]], buzz: [120, 80, 120] },
  undo: { notes: [[660, 0, 0.09], [440, 0.1, 0.12]], buzz: [40, 60, 40] },
  fail: { notes: [[160, 0, 0.25], [160, 0.35, 0.25], [160, 0.7, 0.5]], buzz: [400, 100, 400, 100, 400] },
};

let on = true;
let player = null;

export const setSound = (value) => {
  on = value !== false;
};

/** Make a sound and a buzz: right, doubt, undo or fail. */
export function signal(name) {
  const { notes, buzz } = TONES[name];
  navigator.vibrate?.(buzz);
  document.body.dataset.signal = name;
  // The first tone takes a while to make ready: the tick does not wait for it.
  if (on && window.AudioContext) setTimeout(() => play(notes), 0);
}

function play(notes) {
  try {
    player ||= new AudioContext();
    if (player.state === "suspended") player.resume().catch(() => {});
    for (const [pitch, at, length] of notes) playTone(pitch, player.currentTime + at, length);
  } catch {
    player = null; // A phone without sound still buzzes and shows.
  }
}

function playTone(pitch, at, length) {
  const tone = player.createOscillator();
  const loudness = player.createGain();
  tone.type = "square";
  tone.frequency.value = pitch;
  loudness.gain.setValueAtTime(0.0001, at);
  loudness.gain.exponentialRampToValueAtTime(0.3, at + 0.01);
  loudness.gain.exponentialRampToValueAtTime(0.0001, at + length);
  tone.connect(loudness).connect(player.destination);
  tone.start(at);
  tone.stop(at + length + 0.02);
}
