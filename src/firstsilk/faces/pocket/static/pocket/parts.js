// What is a screen made of? Headings, buttons and questions, built the same way everywhere.

import { picture } from "./pictures.js";
import { say } from "./words.js";

const screen = document.getElementById("screen");

/** An element with attributes, listeners (`onclick`) and children. */
export function make(name, given = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

/** Show one screen: what is told above, what can be pressed below. */
export function show(name, told, pressed) {
  document.body.dataset.screen = name;
  screen.replaceChildren(make("div", { class: "told" }, told), make("div", { class: "pressed" }, pressed));
  screen.scrollTop = 0;
  window.scrollTo(0, 0);
  const first = screen.querySelector("[data-focus]") || screen.querySelector("h1");
  if (first && !first.matches("input, button")) first.tabIndex = -1;
  first?.focus({ preventScroll: true });
}

/** A button: a picture, a word, and a smaller line below it. */
export function button(label, onclick, { hint = "", kind = "", image = "", ...more } = {}) {
  const words = [make("span", { class: "word" }, label), hint && make("span", { class: "hint" }, hint)];
  return make("button", { type: "button", class: kind, onclick, ...more }, picture(image), make("span", { class: "words" }, words));
}

export const grid = (columns, buttons) => make("div", { class: `grid of-${columns}` }, buttons);

/** One line above the buttons that says where one is. */
export const place = (...words) => make("p", { class: "place" }, ...words);

/** The instruction: a picture, and few words beside it. */
export const order = (image, ...words) => make("p", { class: "do" }, picture(image), make("span", {}, ...words));

/** Ask for a number with one press; more than nine is typed. */
export function askNumber({ title, told = [], onNumber, onBack, extra = [], highest = 999 }) {
  const nine = Array.from({ length: 9 }, (_, at) => button(String(at + 1), () => onNumber(String(at + 1)), { kind: "digit" }));
  const more = button(say("number.more"), () => typeNumber({ title, onNumber, onBack, highest }));
  show("number", [make("h1", {}, title), told], [
    extra,
    grid(3, nine),
    grid(2, [button(say("back"), onBack, { kind: "quiet", image: "previous" }), highest > 9 ? more : null].filter(Boolean)),
  ]);
}

function typeNumber({ title, onNumber, onBack, highest }) {
  askText({
    title,
    label: say("number.label"),
    inputmode: "numeric",
    go: say("save"),
    onBack,
    onText(text) {
      const number = Number(text);
      if (!/^\d+$/.test(text.trim()) || number < 1 || number > highest) return say("number.wrong", { highest });
      onNumber(String(number));
      return "";
    },
  });
}

/** A line to type into, with its button. `onText` gives back a sentence if what is typed cannot stand. */
export function makeForm({ label, go, onText, value = "", inputmode = "text", beside = false, image = "", limit = 40 }) {
  const problem = make("p", { id: "problem", class: "problem", role: "alert" });
  const field = make("input", {
    id: "field", name: "field", type: "text", inputmode, value, autocomplete: "off", autocapitalize: "characters",
    spellcheck: "false", "aria-describedby": "problem", "data-focus": true, maxlength: limit,
  });
  const submit = make("button", { type: "submit", class: beside ? "" : "first" }, picture(image), make("span", { class: "word" }, go));
  return make(
    "form",
    {
      class: beside ? "beside" : "",
      onsubmit: async (event) => {
        event.preventDefault();
        problem.textContent = "";
        const said = await onText(field.value);
        problem.textContent = said || "";
        if (said) {
          field.select();
          problem.scrollIntoView({ block: "nearest" }); // On a small phone it may stand below the edge.
        }
      },
    },
    make("label", { for: "field" }, label),
    beside ? make("div", { class: "line" }, field, submit) : [field, problem, submit],
    beside ? problem : "",
  );
}

/** Ask for one line of text. */
export function askText({ name = "text", title, told = [], onBack, below = [], above = [], ...form }) {
  show(name, [make("h1", {}, title), told], [
    above,
    makeForm(form),
    below,
    onBack ? button(say("back"), onBack, { kind: "quiet", image: "previous" }) : "",
  ]);
}

/** Ask for one of a few: each a value, a word and perhaps a picture. */
export function askChoice({ title, told = [], choices, onChoice, onBack }) {
  show("choice", [make("h1", {}, title), told], [
    grid(2, choices.map(([value, label, image]) => button(label, () => onChoice(value), { image }))),
    button(say("back"), onBack, { kind: "quiet", image: "previous" }),
  ]);
}
