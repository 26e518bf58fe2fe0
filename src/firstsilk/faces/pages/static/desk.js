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
