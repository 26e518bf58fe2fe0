// Key a sheet back by the keyboard alone: Enter goes on, each line is kept here at once and sent while the next is typed.
const form = document.getElementById("keying");
const told = document.getElementById("keying-told");
const lines = [...form.querySelectorAll("tr[data-line]")];
const KEEP = `keying ${form.dataset.who} ${form.dataset.sheet} ${form.dataset.entry}`;
const READ_AS = { I: "1", L: "1", O: "0" };
const held = readHeld();
let sending = false;
let sent = 0;

// What this browser holds and the station has not confirmed yet, by line: name and text of each cell.
function readHeld() {
  try { return JSON.parse(localStorage.getItem(KEEP)) || {}; } catch { return {}; }
}
function writeHeld() {
  try {
    if (Object.keys(held).length) localStorage.setItem(KEEP, JSON.stringify(held));
    else localStorage.removeItem(KEEP);
  } catch { tell("This browser keeps nothing by itself: a line is safe once it has its tick.", "ask"); }
}

function tell(text, kind = "") {
  told.textContent = text || "\u00a0";
  told.className = `told-line ${kind}`;
}
const cellsOf = (line) => [...line.querySelectorAll("input[name]")];
const isDue = (check) => asked() && (Number(check.closest("tr").dataset.line) % asked()) === 0;
const asked = () => Number(form.querySelector("[data-ask]").value);
const mark = (line, text) => { line.querySelector("[data-mark]").textContent = text; };

// Each change is held at once; a line is sent when it is left.
function hold(line) {
  held[line.dataset.line] = Object.fromEntries(cellsOf(line).map((cell) => [cell.name, cell.value.trim()]));
  writeHeld();
  mark(line, "…");
}

async function send() {
  if (sending) return;
  const [at] = Object.keys(held).filter((key) => key !== "worker" && !isOpen(key));
  if (at === undefined) return;
  sending = true;
  const line = lines.find((one) => one.dataset.line === at);
  const cells = held[at];
  const body = new URLSearchParams({ ...cells, csrfmiddlewaretoken: form.csrfmiddlewaretoken.value, worker: form.worker.value });
  try {
    const answer = await fetch(form.getAttribute("action"), { method: "POST", body, keepalive: true, headers: { "X-Keying": "1" } });
    sent += 1;
    form.dataset.sent = sent;
    const said = await answer.json();
    if (answer.ok) {
      if (held[at] === cells) { delete held[at]; mark(line, "✓"); line.classList.remove("refused"); }
    } else {
      if (held[at] === cells) { held[at] = { ...cells }; line.classList.add("refused"); mark(line, "look"); }
      tell(said.no, "wrong");
    }
    writeHeld();
    sending = false;
    setTimeout(send, 0);
  } catch {
    sending = false;
    const waiting = Object.keys(held).length;
    tell(`The station does not answer. ${waiting} line${waiting > 1 ? "s" : ""} held in this browser; type on.`, "ask");
    setTimeout(send, 4000);
  }
}
// A line that is being typed, or that was refused and not touched since, is not sent.
const isOpen = (key) => {
  const line = lines.find((one) => one.dataset.line === key);
  return !line || line.contains(document.activeElement) || line.classList.contains("refused");
};

// Which box comes next: check signs where they are asked, males always, boxes in their order.
const steps = () => [...form.querySelectorAll("tr[data-line] input")].filter((one) => !one.matches("[data-check]") || isDue(one));
function go(cell) {
  if (!cell) { form.querySelector("button[name=settle]").focus(); return; }
  cell.focus();
  cell.select();
}
const goOn = (cell) => go(steps()[steps().indexOf(cell) + 1]);
function goLine(cell, by, first = false) {
  const line = cell.closest("tr");
  const other = lines[lines.indexOf(line) + by];
  if (!other) { if (by > 0) go(null); return; }
  const place = [...line.querySelectorAll("input")].filter((one) => one.matches("[data-box]")).indexOf(cell);
  const mine = steps().filter((one) => one.closest("tr") === other);
  go(first || place < 0 ? mine[0] : [...other.querySelectorAll("[data-box]")][place]);
}

function fits(cell) {
  const text = cell.value.trim();
  if (cell.matches("[data-check]")) return !text || checkSign(cell, text);
  if (!cell.matches("[data-box]") || !text) return true;
  if (!/^\d{1,5}$/.test(text)) { tell(`“${text}” is no count. Write a whole number.`, "wrong"); return false; }
  const most = Number(cell.dataset.most);
  if (Number(text) <= most || cell.dataset.sure === text) return true;
  cell.dataset.sure = text;
  tell(`${text} is more than is usual here (${most}). Enter once more if the paper says so.`, "ask");
  return false;
}
function checkSign(cell, text) {
  const sign = READ_AS[text.toUpperCase()] || text.toUpperCase();
  if (sign === cell.dataset.check) { tell(""); return true; }
  tell(`The check sign of this line is not ${sign}. Is your finger on the right row?`, "wrong");
  return false;
}

// A row or a male written by hand: the station says which it is while the numbers are typed.
async function lookUp(cell) {
  const text = cell.value.trim();
  if (!text) return;
  const line = cell.closest("tr");
  const meant = cell.matches("[data-bag]") ? { bag: text } : { sheet: form.dataset.sheet, row: text };
  const address = `${form.dataset.row}?${new URLSearchParams(meant)}`;
  try {
    const answer = await fetch(address);
    const said = await answer.json();
    if (cell.value.trim() !== text) return;
    cell.setAttribute("aria-invalid", String(!answer.ok));
    if (!answer.ok) { tell(said.no, "wrong"); return; }
    if (said.bag) { if (told.className.includes("wrong")) tell(`Bag ${said.bag}`); return; }
    tell(`Row ${said.number}, ${said.line}`);
    if (!cell.matches("[data-row-cell]")) return;
    line.querySelector("[data-name]").textContent = said.line;
    for (const box of line.querySelectorAll("[data-box]")) box.dataset.most = said.most[box.name.split("-").slice(2).join("-")];
  } catch { /* told when the line is sent */ }
}

form.addEventListener("keydown", (event) => {
  const cell = event.target;
  if (cell.tagName !== "INPUT" || event.ctrlKey || event.altKey || event.metaKey) return;
  const isCell = Boolean(cell.closest("tr[data-line]"));
  if (event.key === "Enter") {
    event.preventDefault();
    if (!isCell) go(steps()[0]);
    else if (fits(cell)) { if (told.className.includes("ask")) tell(""); goOn(cell); } else cell.select();
  } else if (!isCell) return;
  else if ([".", ",", "PageDown"].includes(event.key)) {
    event.preventDefault();
    if (fits(cell)) goLine(cell, 1, true);
    else cell.select();
  } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    goLine(cell, event.key === "ArrowDown" ? 1 : -1);
  }
});
form.addEventListener("input", (event) => {
  const line = event.target.closest("tr[data-line]");
  if (!line || !event.target.name) return;
  delete event.target.dataset.sure;
  line.classList.remove("refused");
  hold(line);
});
form.addEventListener("focusout", (event) => {
  if (event.target.matches("[data-row-cell], [data-male], [data-bag]")) lookUp(event.target);
  setTimeout(send, 0);
});
form.addEventListener("change", (event) => {
  if (event.target.matches("[data-ask]")) { try { localStorage.setItem("keying ask", event.target.value); } catch { /* asked anew */ } }
});
form.querySelector(".by-script").hidden = false;
try { form.querySelector("[data-ask]").value = localStorage.getItem("keying ask") || "5"; } catch { /* as it stands */ }
// What the station has by now need not be held; what it has not is put back and sent.
let back = 0;
for (const [at, cells] of Object.entries(held)) {
  const line = lines.find((one) => one.dataset.line === at);
  const same = Object.entries(cells).every(([name, text]) => (form.elements[name]?.value ?? text) === text);
  if (!line || same) { delete held[at]; continue; }
  for (const [name, text] of Object.entries(cells)) if (form.elements[name]) form.elements[name].value = text;
  mark(line, "…");
  back += 1;
}
writeHeld();
if (back) tell(`${back} line${back > 1 ? "s" : ""} that this browser held ${back > 1 ? "are" : "is"} back.`, "ask");
send();
const fresh = lines.find((line) => !line.hasAttribute("data-kept") && !held[line.dataset.line]);
go(form.worker.value ? (fresh ? steps().find((one) => one.closest("tr") === fresh) : steps()[0]) : form.worker);
