// The field map of a nursery too large for one link a row: the same cells on a canvas, with keys and a spoken line.
const data = JSON.parse(document.getElementById("field-cells").textContent);
const canvas = document.getElementById("field-canvas");
const said = document.getElementById("field-said");
const FILL = { planned: "#fff", skipped: "#d9d7d0", sown: "#efe6cf", flowering: "#bfe1f6", some: "#f7d488", enough: "#9fdcc4", short: "#f0a582", picked: "#e9c4da", shelled: "#c9cfd6" };
const W = 30, H = 22;
const at = new Map(data.cells.map((cell) => [`${cell[0]} ${cell[1]}`, cell]));
const sharp = window.devicePixelRatio || 1;
let here = data.cells[0];

canvas.width = data.cols * W * sharp;
canvas.height = data.rows * H * sharp;
canvas.style.width = `${data.cols * W}px`;
const pen = canvas.getContext("2d");
pen.scale(sharp, sharp);
for (const cell of data.cells) draw(cell, false);

function draw([row, col, number, , state, sign, , purpose, shut], chosen) {
  const x = (col - 1) * W, y = (row - 1) * H;
  pen.fillStyle = FILL[state];
  pen.fillRect(x, y, W, H);
  pen.strokeStyle = chosen ? "#0b63c5" : shut ? "#8f2412" : "#9b978a";
  pen.lineWidth = chosen || shut ? 3 : 1;
  pen.setLineDash(shut ? [5, 3] : []);
  pen.strokeRect(x + 1, y + 1, W - 3, H - 3);
  mark(purpose, x + W - 4, y + 2);
  pen.fillStyle = "#1b1b1b";
  pen.font = "9px system-ui, sans-serif";
  pen.fillText(String(number), x + 3, y + 10);
  pen.font = "bold 10px system-ui, sans-serif";
  pen.fillText(sign, x + 3, y + 19);
}
// The same shapes as in the smaller map: a corner for males, a square for females, a dash for fillers.
function mark(purpose, right, top) {
  if (purpose === "male") {
    pen.fillStyle = "#0072B2";
    pen.beginPath();
    pen.moveTo(right - 6, top); pen.lineTo(right, top); pen.lineTo(right, top + 6);
    pen.fill();
  } else if (purpose === "female") {
    pen.fillStyle = "#D55E00";
    pen.fillRect(right - 5, top, 5, 5);
  } else if (purpose === "filler") {
    pen.fillStyle = "#55534c";
    pen.fillRect(right - 6, top + 2, 6, 2);
  }
}
function choose(cell) {
  if (!cell) return;
  draw(here, false);
  here = cell;
  draw(here, true);
  said.textContent = here[6];
}
const open = (cell) => { location.href = data.address.replace("00000000", cell[3]); };
canvas.addEventListener("keydown", (event) => {
  const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
  if (step) { choose(at.get(`${here[0] + step[0]} ${here[1] + step[1]}`)); event.preventDefault(); }
  if (event.key === "Enter") open(here);
});
canvas.addEventListener("focus", () => choose(here));
const under = (event) => at.get(`${Math.floor(event.offsetY / H) + 1} ${Math.floor(event.offsetX / W) + 1}`);
canvas.addEventListener("mousemove", (event) => choose(under(event)));
canvas.addEventListener("click", (event) => { const cell = under(event); if (cell) open(cell); });
