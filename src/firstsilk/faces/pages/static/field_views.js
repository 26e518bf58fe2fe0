// The views of one field: a switch without a reload, and a line that says the plot under the pointer or the arrow keys.
const room = document.querySelector("[data-views]");
const said = room.querySelector("[data-said]");
const steps = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [1, 0], ArrowDown: [-1, 0] };
const canvas = document.getElementById("view-canvas");
let view = room.querySelector("input[name=view]:checked").value;
let here = null;
const painter = canvas ? paintCells() : readDrawings();

room.addEventListener("change", (event) => { if (event.target.name === "view") show(event.target.value); });
show(view);

function show(name) {
  view = name;
  for (const part of room.querySelectorAll("[data-view]")) part.hidden = part.dataset.view !== name;
  painter.paint();
  if (here) choose(here);
}
function choose(place) {
  if (!painter.has(place)) return;
  here = place;
  said.textContent = painter.mark(place);
}
function move(event) {
  const step = steps[event.key];
  if (!step) return;
  event.preventDefault();
  const start = here || painter.first();
  choose(here ? [start[0] + step[0], start[1] + step[1]] : start);
}
// Up to some thousand plots each view is a drawing of its own; each cell carries what it says.
function readDrawings() {
  const cells = {};
  for (const part of room.querySelectorAll("[data-view]")) {
    const own = (cells[part.dataset.view] = new Map());
    for (const path of part.querySelectorAll("path[aria-label^='Plot ']")) {
      const found = /, row (-?\d+), column (-?\d+),/.exec(path.getAttribute("aria-label"));
      if (!found) continue;
      own.set(`${+found[1]} ${+found[2]}`, path);
      path.dataset.place = `${+found[1]} ${+found[2]}`;
    }
    part.addEventListener("keydown", move);
    part.addEventListener("pointerover", (event) => {
      if (event.target.dataset.place) choose(event.target.dataset.place.split(" ").map(Number));
    });
  }
  let marked = null;
  return {
    paint() {},
    has: (place) => cells[view].has(place.join(" ")),
    first: () => [...cells[view].keys()][0].split(" ").map(Number),
    mark(place) {
      if (marked) marked.classList.remove("here");
      marked = cells[view].get(place.join(" "));
      marked.classList.add("here");
      return marked.getAttribute("aria-label");
    },
  };
}
// Beyond that, the same cells on a canvas.
function paintCells() {
  const data = JSON.parse(document.getElementById("view-cells").textContent);
  const [low, high] = data.cols, [bottom, top] = data.rows;
  const W = Math.min(Math.max(Math.floor(1100 / (high - low + 1)), 8), 40), H = Math.max(Math.round(W * 0.6), 7);
  const sharp = window.devicePixelRatio || 1;
  canvas.width = (high - low + 1) * W * sharp;
  canvas.height = (top - bottom + 1) * H * sharp;
  canvas.style.width = `${(high - low + 1) * W}px`;
  const pen = canvas.getContext("2d");
  pen.scale(sharp, sharp);
  const at = new Map(data.cells.map((cell) => [`${cell[0]} ${cell[1]}`, cell]));
  const draw = ([row, col, check, views], chosen) => {
    const [, fill, ink, outer] = views[data.views.indexOf(view)];
    const x = (col - low) * W, y = (top - row) * H;
    pen.fillStyle = fill;
    pen.fillRect(x, y, W, H);
    pen.strokeStyle = chosen ? "#0b63c5" : check ? "#1b1b1b" : "#c9c6bb";
    pen.lineWidth = chosen || check ? 2 : 0.5;
    pen.strokeRect(x + 1, y + 1, W - 2, H - 2);
    pen.fillStyle = pen.strokeStyle = ink;
    pen.lineWidth = 1;
    pen.beginPath();
    const mx = x + W / 2, my = y + H / 2, r = Math.min(W, H) * 0.26;
    if (outer === "above") { pen.moveTo(mx - r, my + r); pen.lineTo(mx + r, my + r); pen.lineTo(mx, my - r); pen.fill(); }
    else if (outer === "below") { pen.moveTo(mx - r, my - r); pen.lineTo(mx + r, my - r); pen.lineTo(mx, my + r); pen.fill(); }
    else if (fill === "#ffffff") { pen.moveTo(mx - r, my - r); pen.lineTo(mx + r, my + r); pen.moveTo(mx + r, my - r); pen.lineTo(mx - r, my + r); pen.stroke(); }
  };
  let marked = null;
  canvas.addEventListener("keydown", move);
  canvas.addEventListener("pointermove", (event) => choose([top - Math.floor(event.offsetY / H), low + Math.floor(event.offsetX / W)]));
  return {
    paint() { for (const cell of data.cells) draw(cell, false); },
    has: (place) => at.has(place.join(" ")),
    first: () => data.cells[0].slice(0, 2),
    mark(place) {
      if (marked) draw(marked, false);
      marked = at.get(place.join(" "));
      draw(marked, true);
      return marked[3][data.views.indexOf(view)][0];
    },
  };
}
