/* Keeps forms on the tablet until the desk has them, and sends those that wait, each exactly once in the end:
   the desk knows a form by its key, so sending one again that arrived unseen changes nothing.
   Entries lie in localStorage by form, pictures in IndexedDB; both go when the desk has the form, and at log-out. */
"use strict";
window.deskKept = (() => {
  const words = document.getElementById("kept-words").dataset;
  const PREFIX = "desk.form.";
  const RETRY_MS = 15000, TIMEOUT_MS = 60000, DAY_MS = 86400000, KEPT_DAYS = 14;
  const listeners = [];
  let sending = false;

  const clock = (iso) => new Date(iso).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const put = (sentence, name, value) => sentence.replace(name, value);

  function load(id) {
    try { return JSON.parse(localStorage.getItem(PREFIX + id)); } catch { return null; }
  }
  function keep(entry) {
    try { localStorage.setItem(PREFIX + entry.id, JSON.stringify(entry)); return true; } catch { return false; }
  }
  function list() {
    try {
      return Object.keys(localStorage).filter((name) => name.startsWith(PREFIX))
        .map((name) => load(name.slice(PREFIX.length))).filter(Boolean);
    } catch { return []; }
  }
  async function forget(entry) {
    // Only what was sent: typed meanwhile in another window, it is another entry by now.
    const now = load(entry.id);
    if (now && now.key === entry.key) localStorage.removeItem(PREFIX + entry.id);
    await photos.forget(entry.key);
  }

  const photos = {
    open() {
      return new Promise((done, failed) => {
        const request = indexedDB.open("desk-photos", 1);
        request.onupgradeneeded = () => request.result.createObjectStore("photos", { keyPath: "id", autoIncrement: true });
        request.onsuccess = () => done(request.result);
        request.onerror = () => failed(request.error);
      });
    },
    async run(mode, work) {
      const base = await photos.open();
      try {
        return await new Promise((done, failed) => {
          const change = base.transaction("photos", mode);
          const request = work(change.objectStore("photos"));
          change.oncomplete = () => done(request && request.result);
          change.onabort = change.onerror = () => failed(change.error);
        });
      } finally { base.close(); }
    },
    add: (photo) => photos.run("readwrite", (store) => store.add(photo)),
    drop: (id) => photos.run("readwrite", (store) => store.delete(id)),
    async all() { return (await photos.run("readonly", (store) => store.getAll())) || []; },
    async of(key) { return (await photos.all()).filter((photo) => photo.key === key); },
    async forget(key) {
      try { for (const photo of await photos.of(key)) await photos.drop(photo.id); } catch { /* no such store here */ }
    },
  };

  function ask(url, options = {}) {
    return fetch(url, { credentials: "same-origin", signal: AbortSignal.timeout(TIMEOUT_MS), ...options });
  }
  /* Returns {token} for the person who typed it, or {stuck: why}; throws where there is no network. */
  async function readToken(person) {
    const answer = await ask(words.tokenUrl, { cache: "no-store" });
    if (!answer.ok) return { stuck: "server" };
    const told = await answer.json();
    if (!told.person) return { stuck: "logged-out" };
    return told.person === person ? { token: told.token } : { stuck: "other-person" };
  }
  /* Sends one picture: {photo…} where the desk has it, {error} where it refuses it, {stuck}; throws without network. */
  async function sendPhoto(entry, photo) {
    const { token, stuck } = await readToken(entry.person);
    if (stuck) return { stuck };
    const body = new FormData();
    body.set("form_key", entry.key);
    body.set("typed_by", entry.person);
    body.set("zone", photo.zone);
    body.set("photo", photo.blob, photo.name);
    const answer = await ask(entry.photoUrl, { method: "POST", body, headers: { "X-CSRFToken": token } });
    if (answer.status !== 200 && answer.status !== 400) return { stuck: "server" };
    return answer.json();
  }
  /* Returns {state: "sent", outcome, at} | {state: "refused", html, error} | {state: "waiting" | "stuck", why}. */
  async function send(entry) {
    try {
      const refused = [];
      for (const photo of entry.photoUrl ? await photos.of(entry.key).catch(() => []) : []) {
        const told = await sendPhoto(entry, photo);
        if (told.stuck) return { state: told.stuck === "server" ? "waiting" : "stuck", why: told.stuck };
        if (told.error) refused.push(told.error);
        await photos.drop(photo.id);
      }
      if (refused.length) return { state: "refused", error: refused.join(" ") };
      const { token, stuck } = await readToken(entry.person);
      if (stuck) return { state: stuck === "server" ? "waiting" : "stuck", why: stuck };
      const answer = await ask(entry.url, {
        method: "POST",
        body: new URLSearchParams(entry.values),
        headers: { "X-CSRFToken": token, "X-Desk-Form": "1" },
      });
      if (answer.status === 200) {
        const told = await answer.json();
        await forget(entry);
        return { state: "sent", outcome: told.outcome, at: told.recorded_at };
      }
      if (answer.status >= 500) return { state: "waiting", why: "server" };
      return { state: "refused", html: await answer.text() };
    } catch {
      return { state: "waiting", why: "network" };
    }
  }
  function tell(entry, result) { for (const listener of listeners) listener(entry, result); }

  /* Sends everything of this person that waits; one round at a time. */
  async function sendWaiting() {
    if (sending) return;
    sending = true;
    try {
      for (const entry of list().filter((one) => one.state === "waiting" && one.person === words.person)) {
        tell(entry, { state: "sending" });
        const result = await send(entry);
        if (result.state === "refused") keep({ ...entry, state: "refused" });
        tell(entry, result);
        if (result.state === "waiting" && result.why === "network") break;
      }
    } finally { sending = false; }
  }

  function say(line, kind, text, link) {
    line.className = `kept-line k-${kind}`;
    line.textContent = text;
    if (link) {
      const anchor = document.createElement("a");
      anchor.href = link.href;
      anchor.textContent = link.text;
      line.append(" ", anchor);
    }
  }
  function why(result) {
    return {
      server: words.server, network: words.waiting, "logged-out": words.loggedOut, "other-person": words.otherPerson,
    }[result.why] || words.waiting;
  }
  function logInLink() {
    return { href: `${words.loginUrl}?next=${encodeURIComponent(location.pathname)}`, text: words.logIn };
  }

  /* On pages without a form: one line for each form that waits. */
  listeners.push((entry, result) => {
    if (document.querySelector(`form[data-kept="${CSS.escape(entry.id)}"]`)) return;
    let line = document.getElementById(`kept-${entry.key}`);
    if (!line) {
      line = document.createElement("p");
      line.id = `kept-${entry.key}`;
      line.setAttribute("role", "status");
      document.getElementById("main").prepend(line);
    }
    const lead = `${entry.title}: `;
    if (result.state === "sending") say(line, "typing", lead + words.sending);
    else if (result.state === "sent") say(line, "sent", lead + put(words.sent, "TIME", clock(result.at)), { href: result.outcome, text: words.openRecord });
    else if (result.state === "refused") say(line, "refused", lead + words.refused, { href: entry.url, text: words.openForm });
    else say(line, result.state, lead + why(result), result.why === "logged-out" ? logInLink() : null);
  });

  function clearOld() {
    for (const entry of list()) {
      const age = Date.now() - Date.parse(entry.at);
      if (age > KEPT_DAYS * DAY_MS && entry.state !== "waiting") localStorage.removeItem(PREFIX + entry.id);
    }
  }
  /* A shared tablet: at log-out everything goes, but for what another person has not sent yet. */
  async function clearAtLogOut() {
    const others = list().filter((entry) => entry.state === "waiting" && entry.person !== words.person);
    for (const entry of list()) if (!others.includes(entry)) localStorage.removeItem(PREFIX + entry.id);
    const keys = others.map((entry) => entry.key);
    try {
      for (const photo of await photos.all()) if (!keys.includes(photo.key)) await photos.drop(photo.id);
    } catch { /* no such store here */ }
  }
  for (const form of document.querySelectorAll(`form[action="${words.logoutUrl}"]`)) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const mine = list().some((entry) => entry.state === "waiting" && entry.person === words.person);
      if (mine && !window.confirm(words.lose)) return;
      await clearAtLogOut();
      form.submit();
    });
  }
  clearOld();
  window.addEventListener("online", sendWaiting);
  setInterval(sendWaiting, RETRY_MS);
  document.addEventListener("DOMContentLoaded", sendWaiting);
  return { words, clock, put, load, keep, forget, photos, send, sendPhoto, sendWaiting, listeners, say, why, logInLink };
})();
