// The bench by keyboard and scanner: Enter goes on, Escape back. Without this file Tab and Enter still do.
let first = null;
const SCANNED = /^[0-9A-Z]{4}-?[0-9A-Z]{4}$/i;
const BURST_MS = 60; // No hand writes eight signs with less than this between each two; a scanner does.
let typedAt = 0;
let burst = ""; // What was written without a pause.
let asking = 0; // Which of the pages asked for is still wanted: that of the last scan.

function begin() {
  first = document.querySelector("[data-first]");
  if (first) { first.focus(); if (first.select) first.select(); }
}

// The next page takes this one's place in the same document: keys that a scanner writes while the server answers are
// never lost between two documents. A scan that is half written is waited for; when it ends, its own page is asked for.
async function openPage(address) {
  const mine = ++asking;
  if (document.activeElement.select) document.activeElement.select();
  let fresh = null;
  try {
    const answer = await fetch(address, { credentials: "same-origin" });
    fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    address = answer.url;
  } catch { /* Without an answer the browser itself asks below, and says what is wrong. */ }
  while (mine === asking && burst && Date.now() - typedAt < 5 * BURST_MS) await new Promise((go) => setTimeout(go, BURST_MS));
  if (mine !== asking) return;
  const bench = fresh && fresh.querySelector(".bench");
  if (!bench) { location.assign(address); return; }
  for (const told of document.querySelectorAll(".told")) told.remove();
  document.querySelector(".bench").replaceWith(bench);
  history.pushState(null, "", address);
  begin();
}
window.addEventListener("popstate", () => location.reload());
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "get" || !form.closest(".bench")) return;
  event.preventDefault();
  openPage(`${form.getAttribute("action")}?${new URLSearchParams(new FormData(form))}`);
});
begin();

function goOn(field) {
  // A tag scanned into the field of a weight is the next lot; nothing of this one was booked. Into the field of a
  // place too, where eight signs may be a name: there only what came as fast as a scanner writes, behind what was
  // marked or already stood there.
  const fast = Date.now() - typedAt < 5 * BURST_MS && SCANNED.test(burst) ? burst : "";
  const weight = field.inputMode && field.inputMode !== "text" && SCANNED.test(field.value.trim());
  if (weight || fast) {
    const kept = new URLSearchParams({ lot: fast || field.value.trim() });
    for (const name of ["season", "crate", "last"]) {
      const one = field.form.querySelector(`input[type=hidden][name=${name}]`);
      if (one) kept.set(name, one.value);
    }
    const day = new URLSearchParams(location.search).get("day");
    if (day) kept.set("day", day);
    openPage(`${location.pathname}?${kept}`);
    return;
  }
  const steps = [...field.form.querySelectorAll("input:not([type=hidden]), button")];
  const next = steps[steps.indexOf(field) + 1];
  if (next && next.tagName === "INPUT") { next.focus(); next.select(); } else field.form.requestSubmit();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const field = event.target;
  if (event.key === "Escape") {
    const back = document.querySelector("[data-back]");
    asking += 1;
    if (back && back.href) openPage(back.href);
    else if (back) back.click();
    else if (first) { first.value = ""; first.focus(); }
    event.preventDefault();
  } else if (event.key === "Enter" && field.tagName === "INPUT") {
    if (field.closest("form[data-steps]")) { event.preventDefault(); goOn(field); }
    const label = document.querySelector("[data-label]");
    if (field.closest("form[data-scan]") && !field.value.trim()) {
      event.preventDefault();
      if (label) label.click();
    }
  } else if (event.key === "Enter" && field.hasAttribute("data-book") && Date.now() - typedAt < 1000) {
    // A scanner ends with Enter: it must not book what somebody has not looked at.
    event.preventDefault();
    document.querySelector("[data-told]").textContent = "First book this lot (Enter) or go back (Esc), then scan the next.";
  } else if (event.key === "+" && document.querySelector("[data-plus]") && !field.hasAttribute("data-plus")) {
    event.preventDefault();
    document.querySelector("[data-plus]").focus();
  } else if (event.key.length === 1 && event.key !== " ") {
    burst = Date.now() - typedAt < BURST_MS ? burst + event.key : event.key;
    typedAt = Date.now();
    // Whoever scans while the focus is elsewhere scans into the field.
    if (field.tagName !== "INPUT" && first && first.tagName === "INPUT" && first.closest("form[data-scan]")) first.focus();
  }
  if (event.key.length > 1 && event.key !== "Shift") burst = "";
});
