/* On the drawing of a report of rust: a press on a place ticks its box, and a ticked box marks its place. */
"use strict";
(() => {
  const list = document.querySelector(".places");
  if (!list) return;
  const boxes = new Map([...list.querySelectorAll("input[type=checkbox]")].map((box) => [box.value, box]));
  const places = [...list.querySelectorAll("[data-zone]")].filter((place) => boxes.has(place.dataset.zone));
  const mark = () => places.forEach((place) => place.classList.toggle("chosen", boxes.get(place.dataset.zone).checked));
  places.forEach((place) => place.addEventListener("click", () => {
    const box = boxes.get(place.dataset.zone);
    box.checked = !box.checked;
    if (box.checked) box.closest("details").open = true;
    mark();
  }));
  list.addEventListener("change", mark);
  mark();
})();
