/* Moves a visit in the week of the bays: by dragging it, or by keyboard (M or its "Move" button, arrows, Enter, Escape).
   Without this script each visit leads to its own page, where it can be moved by a form. */
"use strict";
(() => {
  const STEP = 15;
  const NEAR = 6; // pixels that a pointer must go before a press becomes a drag
  const holder = document.getElementById("week");
  const said = document.getElementById("bays-said");
  const form = document.getElementById("drop");
  if (!holder || !form) return;

  let lifted = null; // {visit, ghost, bay, minute, byKeyboard, grip, started}

  const table = () => document.getElementById("bays-table");
  const isWide = () => getComputedStyle(document.querySelector(".bay .none") || document.body).display === "none"
    || !document.querySelector(".bay .none");
  const say = (text) => { said.textContent = text; };
  const bays = () => [...table().querySelectorAll(".bay")];
  const pad = (number) => String(number).padStart(2, "0");
  const clock = (minute) => `${pad(Math.floor(minute / 60))}:${pad(minute % 60)}`;

  function lift(visit, byKeyboard) {
    const ghost = document.createElement("div");
    ghost.className = "ghost";
    ghost.setAttribute("aria-hidden", "true");
    lifted = { visit, ghost, bay: visit.closest(".bay"), minute: Number(visit.dataset.minute), byKeyboard };
    visit.classList.add("lifted");
    place();
  }

  function place() {
    const { ghost, bay, visit, minute } = lifted;
    const first = Number(table().dataset.firstMinute), minutes = Number(table().dataset.minutes);
    const lane = bay.querySelector(".lane");
    lane.append(ghost);
    ghost.style.top = `${((minute - first) / minutes) * 100}%`;
    ghost.style.height = `${(Number(visit.dataset.length) / minutes) * 100}%`;
    ghost.textContent = clock(minute);
  }

  function tell() {
    say(`${clock(lifted.minute)}, ${lifted.bay.dataset.dayName}, ${lifted.bay.dataset.bayName}`);
  }

  function leave(text) {
    if (!lifted) return;
    lifted.visit.classList.remove("lifted");
    lifted.ghost.remove();
    lifted = null;
    say(text || "");
  }

  function hold(minute) {
    const first = Number(table().dataset.firstMinute), last = first + Number(table().dataset.minutes) - STEP;
    return Math.min(Math.max(minute, first), last);
  }

  async function send(data, visit) {
    say(form.dataset.saidSending);
    let answer, text;
    try {
      answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-Asked-By": "bays" }, credentials: "same-origin" });
      text = await answer.text();
      // Anything else than the week, such as the log-in, is not shown inside of this page.
      if (answer.redirected || !text.includes("week-nav")) throw new Error(String(answer.status));
    } catch (error) {
      leave();
      say(form.dataset.saidFailed);
      return;
    }
    lifted = null;
    holder.innerHTML = text;
    const errors = document.getElementById("errors");
    const notice = holder.querySelector(".notice.done p");
    say(notice ? notice.textContent : "");
    const link = document.querySelector(`#visit-${CSS.escape(visit)} a`);
    if (errors) { say(""); errors.focus(); } else if (link) link.focus();
  }

  function drop() {
    const { visit, bay, minute } = lifted;
    if (bay === visit.closest(".bay") && minute === Number(visit.dataset.minute)) { leave(form.dataset.saidLeft); return; }
    const data = new FormData(form);
    data.set("number", visit.dataset.number);
    data.set("sequence", visit.dataset.sequence);
    // That of the week as it is shown now, which may be newer than the form.
    data.set("shown", holder.querySelector("input[name=shown]").value);
    data.set("bay", bay.dataset.bay);
    data.set("to_day", bay.dataset.day);
    data.set("minute", String(minute));
    for (const name of ["week", "site", "day"]) data.set(name, table().dataset[name]);
    send(data, visit.dataset.number);
  }

  function step(key) {
    const all = bays(), columns = [...table().querySelectorAll(".day")];
    const column = columns.indexOf(lifted.bay.closest(".day"));
    const own = [...columns[column].querySelectorAll(".bay")], row = own.indexOf(lifted.bay);
    if (key === "ArrowUp") lifted.minute = hold(lifted.minute - STEP);
    else if (key === "ArrowDown") lifted.minute = hold(lifted.minute + STEP);
    else if (key === "PageUp") lifted.bay = own[Math.max(row - 1, 0)];
    else if (key === "PageDown") lifted.bay = own[Math.min(row + 1, own.length - 1)];
    else {
      const other = columns[column + (key === "ArrowLeft" ? -1 : 1)];
      if (other) lifted.bay = other.querySelectorAll(".bay")[row];
    }
    if (all.includes(lifted.bay)) place();
    lifted.ghost.scrollIntoView({ block: "nearest" });
    tell();
  }

  const MOVES = ["ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", "PageUp", "PageDown"];

  document.addEventListener("keydown", (event) => {
    if (lifted && lifted.byKeyboard) {
      if (MOVES.includes(event.key)) { event.preventDefault(); step(event.key); }
      else if (event.key === "Enter" || event.key === " ") { event.preventDefault(); drop(); }
      else if (event.key === "Escape") { event.preventDefault(); leave(form.dataset.saidLeft); }
      return;
    }
    if (lifted && event.key === "Escape") { leave(form.dataset.saidLeft); return; }
    const visit = event.target.closest && event.target.closest(".visit[data-movable]");
    const plain = !event.ctrlKey && !event.altKey && !event.metaKey;
    if (visit && plain && event.key.toLowerCase() === "m" && isWide()) {
      event.preventDefault();
      begin(visit);
    }
  });

  function begin(visit) {
    lift(visit, true);
    visit.querySelector("a").focus();
    say(form.dataset.saidLift);
  }

  document.addEventListener("focusout", (event) => {
    if (lifted && lifted.byKeyboard && event.relatedTarget && !lifted.visit.contains(event.relatedTarget)) leave(form.dataset.saidLeft);
  });

  let dragged = false;
  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest(".visit a");
    if (!link) return;
    if (dragged) { event.preventDefault(); dragged = false; return; }
    if (link.classList.contains("move") && isWide()) { event.preventDefault(); begin(link.closest(".visit")); }
  });

  holder.addEventListener("submit", (event) => {
    const sent = event.target.closest(".drop-form");
    if (!sent) return;
    event.preventDefault();
    send(new FormData(sent, event.submitter), sent.elements.number.value);
  });

  let press = null;
  holder.addEventListener("pointerdown", (event) => {
    dragged = false;
    const visit = event.target.closest(".visit[data-movable]");
    if (!visit || event.button !== 0 || event.target.closest(".move") || !isWide()) return;
    press = { visit, x: event.clientX, y: event.clientY, grip: event.clientY - visit.getBoundingClientRect().top };
  });
  document.addEventListener("pointermove", (event) => {
    if (!press) return;
    if (!lifted || lifted.byKeyboard) {
      if (Math.hypot(event.clientX - press.x, event.clientY - press.y) < NEAR) return;
      leave();
      lift(press.visit, false);
      dragged = true;
    }
    event.preventDefault();
    const under = document.elementsFromPoint(event.clientX, event.clientY).find((one) => one.classList.contains("lane"));
    if (!under) return;
    const box = under.getBoundingClientRect(), minutes = Number(table().dataset.minutes);
    const first = Number(table().dataset.firstMinute);
    const at = first + ((event.clientY - press.grip - box.top) / box.height) * minutes;
    lifted.bay = under.closest(".bay");
    lifted.minute = hold(Math.round(at / STEP) * STEP);
    place();
  });
  document.addEventListener("pointerup", () => {
    const was = press;
    press = null;
    if (was && lifted && !lifted.byKeyboard) { dragged = true; drop(); }
  });
  document.addEventListener("pointercancel", () => { press = null; if (lifted && !lifted.byKeyboard) leave(form.dataset.saidLeft); });
})();
