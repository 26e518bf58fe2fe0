// What does this phone know of a row, a bag, a day? Looked up by key, whatever the length of the list.

const DAY_MS = 86400000;
const asDay = (day) => Date.UTC(...day.slice(0, 10).split("-").map((part, at) => Number(part) - (at === 1 ? 1 : 0)));

/** Days from one day to another, both YYYY-MM-DD. */
export const countDays = (from, to) => Math.round((asDay(to) - asDay(from)) / DAY_MS);

const addDays = (day, days) => new Date(asDay(day) + days * DAY_MS).toISOString().slice(0, 10);

/** Rows in walking order: odd ranges by rising place, even ones by falling place. */
export function orderForWalking(rows) {
  const step = (row) => (row.field_row % 2 ? row.field_col : 0 - row.field_col);
  return [...rows].sort((one, other) => one.field_row - other.field_row || step(one) - step(other));
}

export class Held {
  constructor(store) {
    this.store = store;
    this.readList();
  }

  /** Anew from the field list, and from the phone's notes. */
  readList() {
    const rows = this.store.list?.rows || [];
    this.rows = new Map(rows.map((row) => [row.tag, row]));
    this.inOrder = orderForWalking(rows);
    this.place = new Map(this.inOrder.map((row, at) => [row.tag, at]));
    this.bagsToday = new Map((this.store.list?.bags || []).map((bag) => [bag.bag, bag]));
    this.read = this.store.list;
    this.byTag = new Map();
    this.byBag = new Map();
    this.gone = new Set();
    this.size = 0;
    for (const note of this.store.notes.values()) this.add(note);
    this.stopsOf = new Map();
    this.earBags = new Map();
    this.crates = new Set(this.store.list?.crates || []);
    for (const row of this.inOrder) {
      for (const task of row.tasks || []) put(this.stopsOf, task.do, { row, task });
      for (const bag of row.pick?.bags || []) put(this.earBags, bag.bag, { row, ...bag });
    }
  }

  /** Anew only if another list has come, or notes of another phone. */
  refresh() {
    if (this.read !== this.store.list || this.size !== this.store.notes.size) this.readList();
  }

  add(note) {
    this.size += 1;
    if (note.replaces) this.gone.add(note.replaces);
    if (note.kind === "withdrawn") return;
    put(this.byTag, note.tag, note);
    if (note.bag) put(this.byBag, note.bag, note);
  }

  get practice() {
    return this.store.settings.get("practice") === true;
  }

  stands(note) {
    return !this.gone.has(note.id) && note.practice === this.practice;
  }

  /** The station's day: the day of the list, and the days since it came. A wrong clock on the phone does no harm. */
  day(localNow) {
    const { list } = this.store;
    if (!list?.today) return localNow.slice(0, 10);
    const since = list.fetched_at ? countDays(list.fetched_at, localNow) : 0;
    return addDays(list.today, Math.max(0, since));
  }

  /** The station's day with the hour of the phone's clock: a spray interval is not over because a phone thinks so. */
  now(localNow) {
    return `${this.day(localNow)}${localNow.slice(10)}`;
  }

  /** Whether nobody may be in a row now. */
  isShut(row, localNow) {
    return Boolean(row?.keep_out_until) && row.keep_out_until > this.now(localNow);
  }

  /** The standing notes on a row that the field list does not count yet: this phone's, and those that it carries. */
  ownNotes(tag) {
    const after = this.store.list?.after_number || 0;
    const device = this.store.settings.get("device");
    const isNew = (note) => (note.device === device ? note.number > after : this.store.marks.get(note.id) !== "confirmed");
    return (this.byTag.get(tag) || []).filter((note) => isNew(note) && this.stands(note));
  }

  /** Whether the harvest has begun: the station tells of the ears on the rows only then. */
  get isHarvest() {
    return this.crates.size > 0 || this.earBags.size > 0 || this.stopsOf.has("pick");
  }

  /** Where a row stands: as the list says, and what this phone has noted since. */
  stateOf(row, localNow) {
    const own = this.ownNotes(row.tag);
    const sum = (kind) => own.filter((note) => note.kind === kind).reduce((total, note) => total + (Number(note.value) || 0), 0);
    const has = (kind) => own.some((note) => note.kind === kind);
    const day = this.day(localNow);
    const made = sum("pollinated");
    return {
      own,
      wanted: row.state.ears_wanted || 0,
      ears: Math.max(0, row.state.ears + made - sum("spoiled")),
      made: (row.state.ears_pollinated ?? row.state.ears + row.state.spoiled) + made,
      shootBags: row.state.shoot_bags + sum("shoot_bagged"),
      silk: has("silk") ? seenNow(day, 2, 6) : row.silk || null,
      shed: has("shed") ? seenNow(day, 2, 7) : row.shed || null,
      bagged: has("tassel_bagged") ? day : row.state.last_tassel_bag_on || "",
    };
  }

  /** What is known of a bag: whose pollen, which type, when hung, when and where used. */
  bagOf(code) {
    const told = this.bagsToday.get(code);
    const own = (this.byBag.get(code) || []).filter((note) => this.stands(note));
    const hung = own.filter((note) => note.kind === "tassel_bagged");
    const used = own.filter((note) => note.kind === "pollinated");
    const males = new Set([...(told?.males || []), ...hung.map((note) => note.tag)].filter(Boolean));
    const onStationsDay = (note) => this.day(note.taken_local);
    return {
      known: Boolean(told || own.length),
      males: [...males],
      type: told?.type || hung.find((note) => note.detail)?.detail || "",
      hungOn: told?.hung_on || (hung.length ? onStationsDay(hung.at(-1)) : ""),
      usedOn: told?.used_on || (used.length ? onStationsDay(used[0]) : ""),
      usedRows: [...new Set([...(told?.used_rows || []), ...used.map((note) => note.tag)])].filter(Boolean),
    };
  }

  /** Bags that were noted without a row, and still have none. */
  bagsWithoutRow() {
    const open = [];
    for (const [bag, notes] of this.byBag) {
      const standing = notes.filter((note) => this.stands(note));
      for (const kind of ["tassel_bagged", "pollinated", "ears_picked"]) {
        const some = standing.filter((note) => note.kind === kind);
        if (some.length && some.every((note) => !note.tag)) open.push({ bag, kind });
      }
    }
    return open;
  }

  /** What is to be done of one kind today, in walking order; of one team's stretch if this phone goes with a team. */
  stops(task) {
    const stretch = this.stretchOf(task);
    return (this.stopsOf.get(task) || []).filter(({ row }) => !stretch || stretch.has(row.number));
  }

  /** The rows of the phone's own team for a kind of task; null where it goes with no team of today. */
  stretchOf(task) {
    const team = this.store.settings.get("team");
    const walks = (this.store.list?.teams || []).filter((walk) => walk.team === team);
    return walks.length ? new Set(walks.filter((walk) => walk.kinds.includes(task)).flatMap((walk) => walk.rows)) : null;
  }

  /** The teams of today by name. */
  get teams() {
    return [...new Set((this.store.list?.teams || []).map((walk) => walk.team))];
  }
}

const seenNow = (day, before, after) => ({ first: addDays(day, -before), half: day, last: addDays(day, after), seen: true });

function put(map, key, note) {
  const some = map.get(key);
  if (some) some.push(note);
  else map.set(key, [note]);
}
