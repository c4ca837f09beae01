// What every page of the desk does with scripts beyond its plain HTML. Without scripts every page still works.
"use strict";

// The error summary stands above the heading and takes the focus, so that it is read first.
const summary = document.querySelector("[data-takes-focus], .errors[tabindex]");
if (summary) summary.focus();

// Only with scripts: what they alone can do.
for (const element of document.querySelectorAll("[data-scripted]")) element.hidden = false;

// A request in the background that failed says so, and what to do; the page stays as it is.
const failure = document.getElementById("request-failed");
function tellFailure(words) {
  if (!failure) return;
  failure.textContent = "";
  failure.hidden = false;
  // A live region tells what changes in it after it is shown.
  window.setTimeout(() => { failure.textContent = words; }, 50);
}
document.addEventListener("htmx:sendError", () => tellFailure(failure.dataset.noNetwork));
document.addEventListener("htmx:timeout", () => tellFailure(failure.dataset.noNetwork));
document.addEventListener("htmx:responseError", () => tellFailure(failure.dataset.refused));
document.addEventListener("htmx:beforeSwap", () => {
  if (!failure) return;
  failure.hidden = true;
  failure.textContent = "";
});

// "All on this page": ticks or unticks every box of the same name; without scripts it is a link that ticks them.
document.addEventListener("click", (event) => {
  const all = event.target.closest("[data-ticks]");
  if (!all) return;
  event.preventDefault();
  const boxes = [...document.querySelectorAll(`input[type=checkbox][name="${all.dataset.ticks}"]`)];
  const tick = boxes.some((box) => !box.checked);
  for (const box of boxes) box.checked = tick;
});
