// Where does today's walk lead? One kind of task, row after row in walking order; any row may come in between.

import { DEED_OF, TASK_KINDS } from "./deeds.js";
import { earsOf } from "./picked.js";
import { openRow } from "./row.js";
import { say, sayDay } from "./words.js";

/** Begin a walk at its first stop that is not done. */
export function startWalk(pocket, task, back = false) {
  pocket.held.refresh();
  const walk = new Walk(pocket, task, back);
  pocket.walk = walk;
  walk.next(null);
}

export class Walk {
  constructor(pocket, task, back = false) {
    Object.assign(this, { pocket, task, back });
    this.readStops();
  }

  readStops() {
    const { held } = this.pocket;
    this.read = held.read;
    this.order = this.back ? [...held.inOrder].reverse() : held.inOrder;
    const stops = held.stops(this.task);
    this.stops = this.back ? stops.reverse() : stops;
    this.at = new Map(this.stops.map((stop, at) => [stop.row.tag, at]));
    this.males = null;
  }

  /** The place of a row in the order of this walk. */
  placeOf(tag) {
    const place = this.pocket.held.place.get(tag);
    return this.back && place !== undefined ? this.order.length - 1 - place : place;
  }

  /** Tags of the rows whose pollen this walk needs; looked for when first drawn. */
  findMales() {
    const numbers = new Set(this.stops.flatMap(({ row, task }) => task.males.filter((male) => male !== row.number)));
    return new Set(this.order.filter((row) => numbers.has(row.number)).map((row) => row.tag));
  }

  /** A new list may have come while walking. */
  refresh() {
    if (this.read !== this.pocket.held.read) this.readStops();
  }

  isDone(tag) {
    const own = this.pocket.held.ownNotes(tag);
    const kinds = TASK_KINDS[this.task];
    const made = own.filter((note) => kinds.includes(note.kind));
    if (this.task === "look") return this.deeds(this.pocket.held.rows.get(tag)).length === 0;
    const stop = this.stops[this.at.get(tag)];
    if (this.task === "pick") return this.isPicked(tag, made);
    if (this.task !== "pollinate" || !stop) return made.length > 0;
    return made.reduce((sum, note) => sum + (Number(note.value) || 0), 0) >= Math.min(1, stop.task.count);
  }

  /** Counted at the end of the row, or every ear picked or left bag by bag. */
  isPicked(tag, made) {
    if (!made.length) return false;
    const { held } = this.pocket;
    return made.some((note) => note.kind === "ears_picked" && !note.bag) || earsOf(held, held.rows.get(tag)).toPick === 0;
  }

  countLeft() {
    return this.stops.filter((stop) => !this.isDone(stop.row.tag)).length;
  }

  /** What is offered large: yes and not yet for a look, else the deed of the task. */
  deeds(row) {
    if (!row) return [];
    if (this.task !== "look") return [DEED_OF[TASK_KINDS[this.task][0]]];
    const own = this.pocket.held.ownNotes(row.tag).map((note) => note.kind);
    const asked = [["silk", row.silk], ["shed", row.shed]].filter(
      ([kind, window]) => window && !window.seen && !own.includes(kind) && !own.includes(`${kind}_not_yet`));
    return asked.slice(0, 1).flatMap(([kind]) => [DEED_OF[kind], DEED_OF[`${kind}_not_yet`]]);
  }

  /** The first stop after a row that is not done; from the beginning again if there is none. */
  find(tag) {
    const from = tag === null ? -1 : this.placeOf(tag) ?? -1;
    const open = this.stops.filter((stop) => stop.row.tag !== tag && !this.isDone(stop.row.tag));
    return open.find((stop) => this.placeOf(stop.row.tag) > from) || open[0] || null;
  }

  sayNext(tag) {
    this.refresh();
    const stop = this.find(tag);
    return stop ? say("row.name", { row: stop.row.number }) : say("walk.none");
  }

  next(tag) {
    this.refresh();
    const stop = this.find(tag);
    if (stop) openRow(this.pocket, stop.row.tag, this);
    else {
      this.pocket.walk = null;
      this.pocket.said = say("walk.done");
      this.pocket.goHome();
    }
  }

  /** The stop before, done or not; home from the first. */
  previous(tag) {
    this.refresh();
    const here = this.placeOf(tag) ?? 0;
    const before = this.stops.filter((stop) => this.placeOf(stop.row.tag) < here).at(-1);
    if (before) openRow(this.pocket, before.row.tag, this);
    else this.pocket.goHome();
  }

  draw(tag, drawRange) {
    const at = this.placeOf(tag);
    if (at === undefined) return null;
    this.males ||= this.findMales();
    return drawRange(this.order, at, new Set(this.stops.filter((stop) => !this.isDone(stop.row.tag)).map((stop) => stop.row.tag)), this.males);
  }

  /** Why is this row on the list, and how much does it press? */
  why(row) {
    const stop = this.stops[this.at.get(row.tag)];
    if (!stop) return say("walk.not_today");
    const { task } = stop;
    const about = this.task === "tassel_bag" ? ["shed", row.shed] : ["silk", row.silk || row.shed];
    const kind = about[1] === row.shed && !row.silk ? "shed" : about[0];
    const told = about[1] && ["pollinate", "tassel_bag", "shoot_bag", "look"].includes(this.task)
      ? say(`why.${kind}_${about[1].seen ? "since" : "expected"}`, { day: sayDay(about[1].half, "short") }) : "";
    const left = task.days_left === null ? "" : say("why.days_left", { days: task.days_left });
    return [told, left, say("why.rank", { rank: task.rank, all: this.stops.length })].filter(Boolean).join(" · ");
  }
}
