// Small manners of the desk pages: nothing here is needed to read or save.
// Submit a form when a choice in it changes, where the form asks for it.
document.addEventListener("change", (event) => {
  const form = event.target.closest("form[data-send-on-change]");
  if (form) form.requestSubmit();
});
// Say how many are ticked, and tick all by one box.
document.addEventListener("change", (event) => {
  const all = event.target.closest("input[data-tick-all]");
  if (!all) return;
  for (const box of document.querySelectorAll(`input[name="${all.dataset.tickAll}"]`)) box.checked = all.checked;
});
// A button that is pressed once does its work once.
document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (button && !event.target.hasAttribute("data-again")) setTimeout(() => { button.disabled = true; }, 0);
});
window.addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button:disabled:not([data-stay])")) button.disabled = false;
});
// What is wider than the screen can be scrolled with the keys, and says what it is.
for (const wide of document.querySelectorAll(".scroll:not([tabindex])")) {
  if (wide.scrollWidth <= wide.clientWidth) continue;
  let before = wide.previousElementSibling;
  while (before && !/^H[1-3]$/.test(before.tagName)) before = before.previousElementSibling;
  const name = wide.querySelector("caption") || before || document.querySelector("h1");
  wide.tabIndex = 0;
  wide.setAttribute("role", "region");
  wide.setAttribute("aria-label", name ? name.textContent.trim().slice(0, 90) : "Table");
}
// Who looks at the books as they stood on an earlier day stays on that day from page to page.
const LOOKED_AT = new URLSearchParams(location.search).get("day");
function keepDay(event) {
  const link = event.target.closest("a[href^='/'], a[href^='?']");
  if (!link || link.closest("[data-own-day]") || link.pathname === location.pathname && link.hash) return;
  const asked = new URL(link.href);
  if (asked.searchParams.has("day")) return;
  asked.searchParams.set("day", LOOKED_AT);
  link.href = asked;
}
if (LOOKED_AT) {
  document.addEventListener("click", keepDay, true);
  document.addEventListener("auxclick", keepDay, true);
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "get" || form.elements.day) return;
    const day = document.createElement("input");
    Object.assign(day, { type: "hidden", name: "day", value: LOOKED_AT });
    form.append(day);
  }, true);
}
