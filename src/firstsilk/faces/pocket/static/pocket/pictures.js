// Which picture stands for what? Small drawings of our own, in the ink of the words beside them.

const SVG = "http://www.w3.org/2000/svg";

const EAR = '<path d="M24 42c-8 0-12-8-12-16S18 10 24 10s12 8 12 16-4 16-12 16z"/><path d="M24 42v4M17 20h14M14 27h20M16 34h16"/>';
const SILKS = '<path d="M24 10c0-4-5-3-6-7M24 10c0-4 0-5 0-8M24 10c0-4 5-3 6-7"/>';
const TASSEL = '<path d="M24 46V6M24 30 12 18M24 30l12-12M24 20 15 9M24 20l9-11"/>';
const DUST = '<g class="full"><circle cx="9" cy="32" r="2.4"/><circle cx="40" cy="31" r="2.4"/><circle cx="14" cy="40" r="2.4"/><circle cx="35" cy="40" r="2.4"/></g>';
const BAG = '<path d="M14 8h20v30l-4 4-6-3-6 3-4-4z"/>';
const NOT = '<path class="thick" d="M6 42 42 6"/>';
const ARROW = '<path class="thick" d="M8 24h30M26 12l12 12-12 12"/>';

const DRAWINGS = {
  silk: EAR + SILKS,
  silk_not_yet: EAR + NOT,
  shoot_bagged: `<path d="M24 46v-6"/><path class="full light" d="M15 14h18v26H15z"/><path d="M15 14l9-8 9 8z"/><path d="M19 22h10M19 28h10"/>`,
  shed: TASSEL + DUST,
  shed_not_yet: TASSEL + NOT,
  tassel_bagged: `<path d="M24 46V36"/>${BAG}<path d="M19 18l5 6 5-6M24 24v8"/>`,
  tassel_unbagged: `<path d="M24 46V36"/>${BAG}<path class="thick" d="M24 14v16M17 24l7 7 7-7"/>`,
  pollinated: `${EAR}<g class="full"><circle cx="10" cy="6" r="2.6"/><circle cx="20" cy="3.5" r="2.6"/><circle cx="30" cy="4" r="2.6"/><circle cx="39" cy="7" r="2.6"/></g>`,
  spoiled: `${EAR}<path class="thick" d="M8 8l32 32M40 8 8 40"/>`,
  rated: '<path d="M4 24s8-13 20-13 20 13 20 13-8 13-20 13S4 24 4 24z"/><circle class="full" cx="24" cy="24" r="6"/>',
  sown: '<path d="M4 30h40M24 30V14M24 20c-8 0-10-5-10-9 6 0 10 3 10 9zM24 24c7 0 10-4 10-8-6 0-10 3-10 8z"/><circle class="full" cx="24" cy="38" r="4"/>',
  ears_picked: '<path d="M6 24h36l-4 20H10z"/><path d="M14 24c0-8 3-14 7-14s6 6 6 14M26 16c2-4 8-4 9 8"/>',
  ears_left: '<path class="thick" d="M16 46V4"/><path d="M16 20C10 16 6 16 3 20M16 34c8-1 12-4 13-9"/><path d="M32 26c-5-2-6-8-4-13s7-8 11-6 5 7 3 12-5 9-10 7z"/>',
  crated: '<path d="M4 14h40M6 14l4 30h28l4-30M8 24h32M9 34h30"/><path d="M16 14V7h16v7"/>',
  no_bag: BAG + NOT,
  rotten: `${EAR}<g class="full"><circle cx="20" cy="17" r="4"/><circle cx="29" cy="24" r="5"/><circle cx="20" cy="32" r="4"/></g>`,
  few_kernels: '<path d="M24 42c-8 0-12-8-12-16S18 10 24 10s12 8 12 16-4 16-12 16z"/><path d="M24 42v4"/><g class="full"><circle cx="20" cy="19" r="2.6"/><circle cx="28" cy="31" r="2.6"/></g>',
  off_type: `${EAR}<path class="thick" d="M6 6v14M6 26v1"/>`,
  bag: BAG,
  row: '<path d="M4 42h40M12 42V20M24 42V14M36 42V20M12 30c-4 0-6-4-6-7M24 28c5 0 8-4 8-9M36 30c4 0 6-4 6-7"/>',
  scan: '<path class="thick" d="M6 16V6h10M32 6h10v10M42 32v10H32M16 42H6V32"/><path d="M14 24h20"/>',
  tag: '<path d="M6 14h26l12 10-12 10H6z"/><circle cx="14" cy="24" r="3"/>',
  walk: '<path class="thick" d="M10 44c0-14 28-10 28-20S16 22 16 8"/><path class="thick" d="M8 16l8-10 9 9"/>',
  next: ARROW,
  previous: '<path class="thick" d="M40 24H10M22 12 10 24l12 12"/>',
  send: '<path class="thick" d="M24 40V10M12 20 24 8l12 12M8 44h32"/>',
  more: '<g class="full"><circle cx="10" cy="24" r="4"/><circle cx="24" cy="24" r="4"/><circle cx="38" cy="24" r="4"/></g>',
  undo: '<path class="thick" d="M14 8 6 17l9 8"/><path class="thick" d="M7 17h20c18 0 18 24 0 24H16"/>',
  tick: '<path class="thick" d="M6 26l12 12L42 10"/>',
  doubt: '<path d="M24 4 45 43H3z"/><path class="thick" d="M24 17v13M24 36v1"/>',
  evening: '<path class="full" d="M30 6a18 18 0 1 0 12 26A16 16 0 0 1 30 6z"/>',
  morning: '<circle class="full" cx="24" cy="24" r="8"/><path class="thick" d="M24 4v6M24 38v6M4 24h6M38 24h6M10 10l4 4M34 34l4 4M38 10l-4 4M14 34l-4 4"/>',
  water: '<path d="M24 4c8 11 13 17 13 25a13 13 0 0 1-26 0C11 21 16 15 24 4z"/><path d="M18 30a6 6 0 0 0 6 7"/>',
  slow: '<circle cx="24" cy="24" r="19"/><path class="full" d="M24 24V5a19 19 0 0 1 18 13z"/>',
  shirt: '<path d="M16 6 4 14l5 9 5-3v22h20V20l5 3 5-9L32 6c-2 5-14 5-16 0z"/>',
  help: '<circle cx="24" cy="12" r="7"/><path d="M10 44V32c0-8 28-8 28 0v12"/><path d="M24 28v10M19 33h10"/>',
  spray: '<circle cx="24" cy="24" r="19"/><path class="thick" d="M11 24h26"/>',
  people: '<circle cx="24" cy="14" r="8"/><path d="M8 44c0-20 32-20 32 0"/>',
  notes: '<path d="M10 4h28v40H10zM16 14h16M16 22h16M16 30h10"/>',
  sound: '<path d="M6 18h8l12-10v32L14 30H6z"/><path d="M32 17c4 4 4 10 0 14M37 12c8 7 8 17 0 24"/>',
  practice: '<path d="M4 18 24 8l20 10-20 10z"/><path d="M12 24v10c6 6 18 6 24 0V24M44 18v14"/>',
  language: '<circle cx="24" cy="24" r="19"/><path d="M5 24h38M24 5c-12 12-12 26 0 38M24 5c12 12 12 26 0 38"/>',
  give: '<path d="M6 30v12h36V30"/><path class="thick" d="M24 34V6M14 16 24 6l10 10"/>',
  take: '<path d="M6 30v12h36V30"/><path class="thick" d="M24 6v28M14 24l10 10 10-10"/>',
};

/** A picture by its name, or nothing. It says nothing aloud: the words beside it do. */
export function picture(name) {
  if (!DRAWINGS[name]) return null;
  const drawn = document.createElementNS(SVG, "svg");
  drawn.setAttribute("viewBox", "0 0 48 48");
  drawn.setAttribute("class", "picture");
  drawn.setAttribute("aria-hidden", "true");
  drawn.innerHTML = DRAWINGS[name];
  return drawn;
}
