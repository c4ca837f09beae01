/* The form by the lift: keeps each change, brings it back after a reload, and sends without losing anything.
   Without this script the form is sent as any other. */
"use strict";
document.addEventListener("DOMContentLoaded", () => {
  const kept = window.deskKept;
  let form = null;

  const line = () => document.getElementById("kept-line");
  const fields = () => [...form.elements].filter((one) => one.name && !["file", "submit"].includes(one.type) && one.name !== "csrfmiddlewaretoken");
  function readValues() {
    return fields().filter((one) => !["radio", "checkbox"].includes(one.type) || one.checked).map((one) => [one.name, one.value]);
  }
  function makeEntry(state) {
    const field = (name) => form.elements[name].value;
    return {
      id: form.dataset.kept, key: field("form_key"), person: field("typed_by"), url: location.pathname,
      photoUrl: form.dataset.photoUrl || "", title: form.dataset.title, values: readValues(),
      at: new Date().toISOString(), state,
    };
  }
  function keepTyping() {
    const fine = kept.keep(makeEntry("typing"));
    if (!fine) kept.say(line(), "stuck", kept.words.noRoom);
    else if (!navigator.onLine) kept.say(line(), "typing", kept.words.typing);
  }
  /* One more product on a zone: the fields of its first one once more, empty and under the next number. */
  function addCoat(zone, code) {
    const coats = zone.querySelectorAll(".coat");
    const more = coats[0].cloneNode(true);
    const lead = `c-${code}-`;
    for (const one of more.querySelectorAll("[id], [name], [for], [aria-describedby]")) {
      for (const name of ["id", "name", "for", "aria-describedby"]) {
        const value = one.getAttribute(name);
        if (value) one.setAttribute(name, value.replace(`${lead}0-`, `${lead}${coats.length}-`));
      }
      one.removeAttribute("aria-invalid");
      delete one.dataset.touched;
      if (one.type === "radio") one.checked = one.value === "";
      else if (one.matches("input, select.material")) one.value = "";
    }
    for (const error of more.querySelectorAll(".field-error")) error.remove();
    for (const wrong of more.querySelectorAll(".wrong")) wrong.classList.remove("wrong");
    coats[coats.length - 1].after(more);
    return more;
  }
  function putValues(values) {
    for (const [name] of values) {
      const sent = /^c-(.+)-\d-quantity$/.exec(name);
      const zone = sent && document.getElementById(`zone-${sent[1]}`);
      if (zone && !form.elements[name]) addCoat(zone, sent[1]);
    }
    const taken = new Map();
    for (const [name, value] of values) taken.set(name, [...(taken.get(name) || []), value]);
    for (const one of fields()) {
      const given = taken.get(one.name) || [];
      if (["radio", "checkbox"].includes(one.type)) one.checked = given.includes(one.value);
      else if (given.length && one.name !== "typed_by") {
        one.value = given[0];
        one.dataset.touched = "1";
      }
    }
    for (const zone of form.querySelectorAll("details.zone")) {
      const chosen = zone.querySelector("input[name$='-state']:checked");
      if (chosen && chosen.value) zone.open = true;
    }
    for (const more of form.querySelectorAll("details.more")) {
      if ([...more.querySelectorAll("input:not([type=radio]):not([type=checkbox])")].some((one) => one.value)) more.open = true;
    }
  }
  function restore() {
    const entry = kept.load(form.dataset.kept);
    if (!entry || "refused" in form.dataset || entry.person !== form.elements.typed_by.value) return;
    putValues(entry.values);
    kept.say(line(), entry.state === "waiting" ? "waiting" : "typing", entry.state === "waiting" ? kept.words.waiting : kept.put(kept.words.restored, "TIME", kept.clock(entry.at)));
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain";
    button.textContent = kept.words.startAnew;
    button.addEventListener("click", async () => { await kept.forget(kept.load(form.dataset.kept) || entry); location.reload(); });
    line().append(" ", button);
  }

  /* Puts the page that the desk answered in place of this one, with its errors and all that was typed. */
  function showAnswer(html) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const main = page.getElementById("main");
    if (!main || !main.querySelector("form[data-kept]")) return false;
    document.getElementById("main").replaceChildren(...main.childNodes);
    document.title = page.title;
    start();
    const errors = document.getElementById("errors");
    if (errors) errors.focus();
    return true;
  }
  /* What the desk does without scripts: treated zones of a group on which nothing is entered were seen and are sound. */
  function fillRest(rest) {
    const filled = [];
    for (const code of rest.dataset.zones.split(" ")) {
      const zone = document.getElementById(`zone-${code}`);
      const said = [...zone.querySelectorAll("input")].some((one) => (["radio", "checkbox"].includes(one.type) ? one.checked && !["", "not_seen"].includes(one.value) : one.value));
      if (said || zone.querySelector("[data-photos] li:not(.field-error)")) continue;
      for (const [name, value] of [["step", "0"], ["film", "intact"]]) zone.querySelector(`input[name$='-${name}'][value='${value}']`).checked = true;
      tellGrade(zone);
      filled.push(zone.querySelector("h3").firstChild.textContent.trim());
    }
    const told = rest.querySelector("[role=status]");
    told.textContent = filled.length ? `${told.dataset.told} ${filled.join(", ")}.` : told.dataset.toldNone;
    keepTyping();
  }
  async function submit(event) {
    event.preventDefault();
    if (event.submitter && event.submitter.name === "more") {
      const more = addCoat(event.submitter.closest(".zone"), event.submitter.value);
      more.querySelector("select").focus();
      return;
    }
    if (event.submitter && event.submitter.name === "rest_seen") return fillRest(event.submitter.closest(".rest"));
    const button = form.querySelector(".send button");
    button.disabled = true;
    const entry = makeEntry("waiting");
    if (!kept.keep(entry)) kept.say(line(), "stuck", kept.words.noRoom);
    kept.say(line(), "typing", kept.words.sending);
    await uploads;
    take(entry, await kept.send(entry));
    button.disabled = false;
  }
  function take(entry, result) {
    if (entry.id !== form.dataset.kept) return;
    if (result.state === "sending") return kept.say(line(), "typing", kept.words.sending);
    if (result.state === "sent") {
      kept.say(line(), "sent", kept.put(kept.words.sent, "TIME", kept.clock(result.at)), { href: result.outcome, text: kept.words.openRecord });
      form.removeEventListener("input", onInput);
      form.removeEventListener("change", onInput);
      location.assign(result.outcome);
      return;
    }
    if (result.state === "refused") {
      kept.keep({ ...entry, state: "refused" });
      if (result.html && showAnswer(result.html)) return;
      kept.say(line(), "refused", [kept.words.refused, result.error].filter(Boolean).join(" "));
      return;
    }
    kept.say(line(), result.state, kept.why(result), result.why === "logged-out" ? kept.logInLink() : null);
    line().scrollIntoView({ block: "nearest" });
  }

  /* Pictures go at once, so that a bad one is told while the camera is still in the hand. */
  let uploads = Promise.resolve();
  function showPhoto(zone, told) {
    const place = form.querySelector(`[data-photos="${CSS.escape(zone)}"]`);
    const item = document.createElement("li");
    if (told.address) {
      const picture = document.createElement("img");
      picture.src = told.address;
      picture.alt = told.name;
      const label = document.createElement("label");
      label.className = "check";
      const box = document.createElement("input");
      box.type = "checkbox";
      box.name = "drop";
      box.value = told.photo;
      label.append(box, " ", form.dataset.takeAway);
      item.append(picture, label);
    } else {
      item.className = told.error ? "photo-told field-error" : "photo-told";
      item.setAttribute("role", "status");
      item.textContent = told.error || told.text;
    }
    place.append(item);
    return item;
  }
  async function addPhotos(input) {
    const zone = input.dataset.zone;
    const files = [...input.files];
    input.value = "";
    kept.keep(makeEntry("typing"));
    for (const file of files) {
      const photo = { key: form.elements.form_key.value, zone, name: file.name, blob: file };
      const waits = showPhoto(zone, { text: kept.put(kept.words.photoSending, "NAME", file.name) });
      try {
        const told = await kept.sendPhoto(makeEntry("typing"), photo);
        if (told.stuck) throw new Error(told.stuck);
        waits.remove();
        showPhoto(zone, told);
      } catch {
        await kept.photos.add(photo);
        waits.textContent = kept.put(kept.words.photoWaiting, "NAME", file.name);
      }
    }
  }
  async function showKeptPhotos() {
    if (!form.dataset.photoUrl) return;
    try {
      for (const photo of await kept.photos.of(form.elements.form_key.value)) {
        showPhoto(photo.zone, { text: kept.put(kept.words.photoWaiting, "NAME", photo.name) });
      }
    } catch { /* no such store here */ }
  }

  /* What was chosen on one zone is proposed on the zones below that nobody touched yet. */
  function proposeBelow(changed) {
    const kind = /^c-.+-0-(material|unit|tool|pressure|pressure_unit)$/.exec(changed.name);
    changed.dataset.touched = "1";
    if (!kind) return;
    const all = [...form.querySelectorAll(`[name^="c-"][name$="-0-${kind[1]}"]`)];
    const product = changed.value.split(":")[0];
    for (const below of all.slice(all.indexOf(changed) + 1)) {
      if (below.dataset.touched) continue;
      const done = below.closest(".zone").querySelector("input[name$='-state'][value=done]");
      if (kind[1] === "material" ? below.value.split(":")[0] === product : !done.checked) below.value = changed.value;
    }
  }
  function tellExpected(select) {
    const group = select.selectedOptions[0] && select.selectedOptions[0].closest("optgroup");
    const place = select.closest(".entry").nextElementSibling.querySelector("b");
    if (group && place) place.textContent = group.dataset.expected;
  }
  let asked = 0;
  async function tellDewPoint() {
    const query = new URLSearchParams();
    for (const name of ["air", "surface", "humidity", "temperature_unit"]) query.set(name, form.elements[name].value);
    const mine = ++asked;
    const place = document.getElementById("dew-point");
    try {
      const answer = await fetch(`${form.dataset.dewPoint}?${query}`, { credentials: "same-origin" });
      const text = answer.ok && !answer.redirected ? await answer.text() : "";
      if (mine === asked) place.innerHTML = text;
    } catch { if (mine === asked) place.textContent = kept.words.noNetwork; }
  }
  function tellGrade(zone) {
    const number = zone.querySelector("input[name$='-percent']");
    const step = zone.querySelector("input[name$='-step']:checked");
    const text = number.value.trim().replace(",", ".") || (step ? step.value : "");
    const percent = Number(text);
    const place = zone.querySelector("[data-grade]");
    if (text === "" || Number.isNaN(percent) || percent < 0 || percent > 100) { place.textContent = ""; return; }
    const found = JSON.parse(form.dataset.grades).find(([, point]) => percent <= Number(point));
    place.textContent = found ? found[0] : "Ri 5";
  }
  function onInput(event) {
    const one = event.target;
    if (one.type === "file") {
      if (event.type === "change") uploads = uploads.then(() => addPhotos(one));
      return;
    }
    if (event.type === "change") proposeBelow(one);
    const zone = one.closest(".zone");
    if (zone && /-quantity$/.test(one.name) && one.value) zone.querySelector("input[name$='-state'][value=done]").checked = true;
    if (event.type === "change" && one.classList.contains("material")) tellExpected(one);
    if (event.type === "change" && ["air", "surface", "humidity", "temperature_unit"].includes(one.name)) tellDewPoint();
    if (zone && form.dataset.grades && /-(step|percent)$/.test(one.name)) {
      // One of the two says how much: what was given last.
      if (one.name.endsWith("-step") && one.value) zone.querySelector("input[name$='-percent']").value = "";
      if (one.name.endsWith("-percent") && one.value) zone.querySelector("input[name$='-step'][value='']").checked = true;
      tellGrade(zone);
    }
    keepTyping();
  }
  function start() {
    form = document.querySelector("form[data-kept]");
    if (!form) return;
    form.addEventListener("input", onInput);
    form.addEventListener("change", onInput);
    form.addEventListener("submit", submit);
    // An error's link leads into a folded card.
    document.getElementById("main").addEventListener("click", (event) => {
      const link = event.target.closest(".errors a[href^='#']");
      const target = link && document.getElementById(link.hash.slice(1));
      if (!target) return;
      for (let folded = target.closest("details"); folded; folded = folded.parentElement.closest("details")) folded.open = true;
      event.preventDefault();
      target.scrollIntoView({ block: "center" });
      (target.matches("fieldset") ? target.querySelector("input:checked, input") : target).focus();
    });
    restore();
    showKeptPhotos();
  }
  kept.listeners.push(take);
  start();
});
