// Small helps for the pages; every page works without them.
"use strict";
document.addEventListener("dragover", (event) => {
  const zone = event.target.closest && event.target.closest(".drop");
  if (zone) { event.preventDefault(); zone.classList.add("over"); }
});
document.addEventListener("dragleave", (event) => {
  const zone = event.target.closest && event.target.closest(".drop");
  if (zone) zone.classList.remove("over");
});
document.addEventListener("drop", (event) => {
  const zone = event.target.closest && event.target.closest(".drop");
  if (!zone) return;
  event.preventDefault();
  zone.classList.remove("over");
  const input = zone.querySelector("input[type=file]");
  if (input && event.dataTransfer.files.length) input.files = event.dataTransfer.files;
});
// A form that takes its time is sent once.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  const button = event.submitter;
  if (button && button.dataset.busy) window.setTimeout(() => { button.textContent = button.dataset.busy; }, 0);
});
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});
