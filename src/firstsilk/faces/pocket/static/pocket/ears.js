// How many ears were pollinated on a row, and with whose pollen? One entry a row, or one for each bag.

import { printTag, readTag } from "./note.js";
import { askNumber, askText, button, grid, order, place } from "./parts.js";
import { say } from "./words.js";

/** Ask for ears; where the pollen is from stands above, and is changed only if it differs from the plan. */
export function askEars(pocket, { row, tag, name, onBack, onEars }) {
  const asked = new Ears(pocket, { row, tag, name, onBack, onEars });
  asked.ask();
}

class Ears {
  constructor(pocket, given) {
    Object.assign(this, given, { pocket, bag: "", males: null });
    const planned = this.row?.males || [];
    this.male = planned.length === 1 && this.row.make !== "self" ? planned[0] : null;
  }

  sayPollen() {
    if (this.bag && !this.male) {
      const { males } = this.pocket.held.bagOf(this.bag);
      if (males.length) return say("ears.from", { male: males.map((one) => this.numberOf(one)).join(", ") });
    }
    if (this.row?.make === "self" && !this.male) return say("ears.own");
    return this.male ? say("ears.from", { male: this.male.number || printTag(this.male.tag) }) : say("ears.unsaid");
  }

  numberOf(tag) {
    return this.pocket.held.rows.get(tag)?.number ?? printTag(tag);
  }

  ask() {
    askNumber({
      title: say("ask.pollinated"),
      told: [place(this.name), order("shed", this.sayPollen())],
      extra: grid(2, [
        button(this.male ? say("ears.other") : say("ears.say"), () => this.askMale(), { kind: "quiet", image: "shed" }),
        button(this.bag ? printTag(this.bag) : say("ears.bag"), () => this.askBag(), { kind: "quiet", image: "bag" }),
      ]),
      onBack: this.onBack,
      onNumber: (value) => this.onEars({ kind: "pollinated", value, ...findPollen(this.pocket.held, this) }),
    });
  }

  askMale() {
    const take = (male) => {
      this.male = male;
      this.ask();
    };
    const planned = (this.row?.males || []).map((male) =>
      button(say("row.name", { row: male.number }), () => take(male), { hint: printTag(male.tag) }));
    askText({
      title: say("male.title"),
      label: say("male.label"),
      told: place(this.name),
      go: say("male.take"),
      below: [grid(2, [...planned, button(say("male.own"), () => take({ tag: this.tag, number: this.row?.number }))])],
      onBack: () => this.ask(),
      onText: (text) => {
        const { tag, problem, code, values } = readTag(text);
        if (problem) return code ? say(`tag.${code}`, values) : problem;
        take({ tag, number: this.pocket.held.rows.get(tag)?.number });
        return "";
      },
    });
  }

  askBag() {
    askText({
      title: say("bag.title"),
      label: say("bag.label"),
      told: place(this.name),
      go: say("keep"),
      value: this.bag,
      onBack: () => this.ask(),
      onText: (text) => {
        const read = readTag(text);
        const bag = read.tag || text.trim().toUpperCase();
        if ([...bag].length > 16) return say("bag.long");
        this.bag = bag;
        this.ask();
        return "";
      },
    });
  }
}

/** Male, males and type of a pollination: as said, else as the bag tells, else as planned. */
export function findPollen(held, { row, tag, male = null, bag = "", type = "" }) {
  const known = bag ? held.bagOf(bag) : { males: [], type: "" };
  if (!male && known.males.length > 1) {
    return { bag, male: "", males: known.males, detail: type || known.type || row?.make || "pollen_mix" };
  }
  const one = male?.tag || known.males[0] || "";
  return { bag, male: one, males: one ? [one] : row?.make === "self" && !bag ? [tag] : [], detail: type || known.type || typeOf(row, tag, one, bag) };
}

/** The planned kind; another male than planned makes it a cross, its own row a self. */
function typeOf(row, tag, male, bag) {
  if (male && male === tag) return ["sib", "bulk_sib"].includes(row?.make) ? row.make : "self";
  if (!row?.make) return male || bag ? "cross" : "open";
  if (row.make === "self" && male) return "cross";
  return row.make;
}

