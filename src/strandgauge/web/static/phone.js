// What the phone page does beyond plain forms: it follows clock and logbook by itself, calls when something is due,
// and keeps what is typed and photographed until it has arrived. Without this file every form still works by its
// own button. Nothing here decides anything: what to do is drawn by the server, at the latest two seconds ago.
"use strict";

const EVERY_MS = 2000; // how often the server is asked
const OLD_MS = 9000; // after which silence is told
const RING_MS = 15000; // how often a call that nobody heard is repeated
const PATIENCE_MS = 60000; // for one photo
const DRAFT_MS = 12 * 3600 * 1000;
// Answers to what may be sent again as it is: too slow, too much at once, or the computer's own trouble.
const AGAIN = (status) => status === 403 || status === 408 || status === 429 || status >= 500;

const body = document.body;
const SAYS = JSON.parse(body.dataset.words); // from the catalogue, by the server
const phrase = (code, fact) => SAYS[code].replace("#", fact);
const one = (selector, from = document) => from.querySelector(selector);
const all = (selector, from = document) => [...from.querySelectorAll(selector)];
const store = (area, key, value) => {
  try {
    if (value === undefined) return JSON.parse(area.getItem(key));
    if (value === null) area.removeItem(key);
    else area.setItem(key, JSON.stringify(value));
  } catch { /* no storage, or no room: the page goes on without */ }
  return null;
};
const fresh = () => [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");

// --- the time, as the salon's computer has it ---------------------------------------------------------------

let ahead = (Number(body.dataset.now) || Date.now() / 1000) * 1000 - Date.now();
const seconds = () => (Date.now() + ahead) / 1000;

function tick() {
  for (const clock of all("[data-since]")) {
    const minutes = Math.max(0, seconds() - Number(clock.dataset.since)) / 60;
    const limit = Number(clock.dataset.limit);
    one("[data-minutes]", clock).textContent = Math.floor(minutes);
    if (!limit) continue;
    const bar = one("[data-burn]", clock.closest("a, header"));
    if (bar) bar.setAttribute("width", Math.min(100, (100 * minutes) / limit).toFixed(1));
    if (minutes >= limit && !clock.classList.contains("over")) {
      clock.classList.add("over");
      one("[data-limit-words]", clock).textContent = phrase("time-is-up");
      poll();
    }
  }
  for (const due of all("[data-due]")) {
    const left = (Number(due.dataset.due) - seconds()) / 60;
    due.classList.toggle("now", left < 0.5);
    due.textContent = left < 0.5 ? phrase("due-now") : phrase("due-in", Math.round(left));
  }
  const limit = one("template[data-at-limit]");
  if (limit && seconds() >= Number(limit.dataset.atLimit)) stopBy(limit);
  ring();
}

// Where bar and dock would cover what is to be read, as at large text, they do not stick.
function fit() {
  const stuck = all(".bar, .dock").reduce((sum, part) => sum + part.offsetHeight, 0);
  body.classList.toggle("loose", stuck > 0.45 * innerHeight);
}

// Without a connection nothing may go on saying "go on": the server has sent along what to say then.
function stopBy(template) {
  const step = one(".step");
  if (!template || !step || step.classList.contains("stop")) return;
  step.className = "step stop";
  one("h1", step).textContent = one("h1", template.content).textContent;
  one(".sentence", step).textContent = one("p", template.content).textContent;
  one(".next", step)?.remove();
  poll();
}

// --- what the server draws ----------------------------------------------------------------------------------

const follow = body.dataset.follow;
const drawn = new Map(all("[data-live]").map((part) => [part.dataset.live, part.outerHTML]));
let mark = null, asking = false, askAgain = false, heardAt = Date.now();

async function poll() {
  if (asking) return void (askAgain = true);
  asking = true;
  try {
    const headers = mark ? { "If-None-Match": mark } : {};
    const signal = AbortSignal.timeout ? AbortSignal.timeout(8000) : undefined;
    const answer = await fetch(follow, { headers, cache: "no-store", signal });
    if (answer.status === 404) return void location.assign("/today");
    if (answer.status !== 304 && !answer.ok) throw new Error(String(answer.status));
    const late = Date.now() - heardAt > OLD_MS;
    heardAt = Date.now();
    if (answer.headers.has("X-Now")) ahead = Number(answer.headers.get("X-Now")) * 1000 - Date.now();
    if (answer.status === 200) {
      show(new DOMParser().parseFromString(await answer.text(), "text/html"));
      mark = answer.headers.get("ETag");
    }
    if (late) send();
  } catch { /* told below, once it has lasted */ }
  asking = false;
  tellSilence();
  if (askAgain) {
    askAgain = false;
    poll();
  }
}

function show(page) {
  const parts = new Map(all("[data-live]", page).map((part) => [part.dataset.live, part]));
  const before = one("#step-word")?.textContent;
  if (follow !== "/pulse" && [...parts.keys()].join() !== [...drawn.keys()].join() && !typing(one("main"))) {
    for (const whole of ["main", ".dock", ".bar"]) {
      const now = one(whole), next = one(whole, page);
      if (now && next) now.replaceWith(document.importNode(next, true));
    }
    drawn.clear();
    for (const [name, part] of parts) drawn.set(name, name === "calls" ? "" : part.outerHTML);
    restore();
  }
  for (const [name, part] of parts) {
    const now = one(`[data-live="${name}"]`);
    if (!now || drawn.get(name) === part.outerHTML || typing(now)) continue;
    const focus = now.contains(document.activeElement) ? document.activeElement.id : "";
    const open = all("details", now).map((details) => details.open);
    const next = document.importNode(part, true);
    now.replaceWith(next);
    all("details", next).forEach((details, place) => { details.open = open[place] ?? details.open; });
    if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
    drawn.set(name, part.outerHTML);
  }
  if (follow !== "/pulse") {
    title = page.title;
    body.className = page.body.className;
    fit();
    const word = one("#step-word")?.textContent;
    if (word && word !== before) say(`${word}. ${one("#step-sentence").textContent}`);
  }
  tick();
}

function typing(part) {
  const at = document.activeElement;
  return part.contains(at) && at.matches("input[type=text], input[type=search], textarea, select");
}

function tellSilence() {
  const silent = Date.now() - heardAt > OLD_MS;
  let told = one("#silent");
  if (silent && !told) {
    told = document.createElement("p");
    told.id = "silent";
    told.setAttribute("role", "status");
    const since = new Date(heardAt).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    told.textContent = `${phrase("lost")} ${phrase("old", since)}`;
    one("main").prepend(told);
  } else if (!silent && told) told.remove();
}

function say(words) {
  let said = one("#said");
  if (!said) {
    said = Object.assign(document.createElement("p"), { id: "said", className: "sr" });
    said.setAttribute("role", "status");
    one("main").append(said);
  }
  said.textContent = words;
}

// --- calls --------------------------------------------------------------------------------------------------

let title = document.title, sound = null, rangAt = 0;
const wantsSound = () => store(localStorage, "sound") !== false;

function ring() {
  const here = one("article[data-strand]")?.dataset.strand;
  const heard = store(sessionStorage, "heard") || [];
  let loud = null, next = Infinity, calling = 0;
  const others = [];
  for (const call of all("[data-call]")) {
    const at = Number(call.dataset.call), key = `${call.dataset.strand} ${at} ${one("b", call).textContent}`;
    const calls = seconds() >= at;
    if (!calls) next = Math.min(next, at);
    call.hidden = true;
    if (!calls) continue;
    call.dataset.key = key;
    if (call.dataset.strand !== here) others.push(call);
    calling += 1;
    if (!heard.includes(key) && (!loud || call.classList.contains("stop"))) loud = call;
  }
  // One line on top of whatever the page shows: the most urgent, and how many more there are.
  if (others.length) {
    others[0].hidden = false;
    let more = one("i", others[0]);
    if (!more) others[0].prepend((more = document.createElement("i")));
    more.textContent = others.length > 1 ? `+${others.length - 1}` : "";
  }
  const left = Math.max(0, Math.round((next - seconds()) / 60));
  const first = calling ? `● ${loud ? `${one("b", loud).textContent}: ${one("span", loud).textContent}` : calling}` : next < Infinity ? phrase("minutes", left) : "";
  document.title = first ? `${first} – ${title}` : title;
  const button = one("[data-heard]");
  if (button) button.hidden = !loud;
  body.classList.toggle("ringing", Boolean(loud));
  if (!loud) rangAt = 0;
  else if (Date.now() - rangAt > RING_MS) {
    rangAt = Date.now();
    alarm(loud.classList.contains("stop"));
  }
}

function alarm(urgent) {
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(urgent ? [500, 150, 500, 150, 500] : [250, 150, 250]);
  if (!wantsSound() || sound?.state !== "running") return;
  for (let beep = 0; beep < (urgent ? 6 : 3); beep += 1) {
    const from = sound.currentTime + 0.3 * beep, tone = sound.createOscillator(), loud = sound.createGain();
    tone.frequency.value = urgent && beep % 2 ? 660 : 880;
    loud.gain.setValueAtTime(0.0001, from);
    loud.gain.exponentialRampToValueAtTime(0.5, from + 0.02);
    loud.gain.exponentialRampToValueAtTime(0.0001, from + 0.24);
    tone.connect(loud).connect(sound.destination);
    tone.start(from);
    tone.stop(from + 0.25);
  }
}

// A browser lets a page sound only once somebody has touched it.
function wake() {
  if (!window.AudioContext) return;
  sound ??= new AudioContext();
  sound.resume().then(showSound, () => {});
}

function showSound() {
  for (const button of all("[data-sound]")) {
    button.hidden = !window.AudioContext;
    button.setAttribute("aria-pressed", String(wantsSound() && sound?.state === "running"));
    one("[data-sound-words]", button).textContent =
      phrase(!wantsSound() ? "sound-off" : sound?.state === "running" ? "sound-on" : "tap-for-sound");
  }
}

function hear(strand) {
  const keys = all("[data-key]").filter((call) => !strand || call.dataset.strand === strand).map((call) => call.dataset.key);
  store(sessionStorage, "heard", [...(store(sessionStorage, "heard") || []), ...keys].slice(-60));
  ring();
}

// --- what is sent, kept until it has arrived ----------------------------------------------------------------

let shelf = null, sending = false, tries = 0;
const beside = []; // where the browser keeps nothing
const mine = new Set(); // what this very page has sent, and goes on from

function opened() {
  shelf ??= new Promise((done) => {
    const request = window.indexedDB?.open("strandgauge", 1);
    if (!request) return done(null);
    request.onupgradeneeded = () => request.result.createObjectStore("waiting", { keyPath: "id" });
    request.onsuccess = () => done(request.result);
    request.onerror = () => done(null);
  });
  return shelf;
}

async function onShelf(mode, work) {
  const database = await opened();
  if (!database) return null;
  return new Promise((done) => {
    const change = database.transaction("waiting", mode);
    const request = work(change.objectStore("waiting"));
    change.oncomplete = () => done(request.result);
    change.onabort = change.onerror = () => done(null);
  });
}

async function waiting() {
  const kept = (await onShelf("readonly", (items) => items.getAll())) || [];
  return [...kept, ...beside].sort((a, b) => a.filled - b.filled);
}

async function keep(item) {
  // A phone may refuse to keep a file of the camera's own; its bytes it keeps.
  const done = await onShelf("readwrite", (items) => items.put(item));
  if (done === null && !beside.some((other) => other.id === item.id)) beside.push(item);
}

async function drop(item) {
  await onShelf("readwrite", (items) => items.delete(item.id));
  const place = beside.findIndex((other) => other.id === item.id);
  if (place >= 0) beside.splice(place, 1);
}

async function enqueue(form, input) {
  const file = input?.files[0];
  const fields = [...new FormData(form)].filter(([, value]) => typeof value === "string");
  if (!fields.some(([name, value]) => name === "request" && value)) fields.push(["request", fresh()]);
  if (input && store(localStorage, "keep")) fields.push(["keep_photo", "yes"]);
  const now = Date.now();
  const item = {
    id: fresh(), action: new URL(form.action).pathname, fields, filled: now,
    what: file ? one("h1.name, .whose", form.closest(".card") || document)?.textContent.trim() || phrase("photo") : phrase("an-answer"),
    // Taken when the phone says so, but not in the future: an album's picture comes with its own time.
    photo: file ? new Blob([await file.arrayBuffer()], { type: file.type }) : null,
    field: input?.name, taken: file ? Math.min(file.lastModified || now, now) : now,
  };
  const number = form.elements.request;
  if (number) number.value = fresh(); // what is sent next from here is something else
  if (input) input.value = ""; // the same file may be chosen again
  mine.add(item.id);
  await keep(item);
  send();
}

async function send() {
  if (sending) return;
  sending = true;
  for (const item of await waiting()) {
    hideAlert();
    const answer = await sent(item);
    const told = answer?.response;
    if (answer?.status === 200 && told?.location) {
      await drop(item);
      tries = 0;
      if (told.message) store(sessionStorage, "refused", [told.remedy || told.message, told.remedy ? told.message : ""]);
      if (mine.has(item.id)) {
        settle(item);
        sending = false;
        if (location.pathname + location.hash === told.location || location.pathname === told.location.split("#")[0]) {
          showQueue();
          store(sessionStorage, "refused") ? showRefused() : poll().then(() => one("#answer")?.scrollIntoView());
        } else location.assign(told.location);
        return;
      }
      poll();
    } else if (!answer || AGAIN(answer.status) || !told?.message) {
      const locked = answer?.status === 403;
      const todo = locked ? phrase("locked-do") : (answer && told?.remedy) || phrase("lost-do");
      alert_(todo, locked ? phrase("locked") : answer ? told?.message || phrase("odd") : phrase("lost"));
      tries += 1;
      setTimeout(send, Math.min(30000, 2000 * 2 ** tries));
      break;
    } else if (told.code === "old-photo") {
      alert_(told.remedy, told.message, phrase("taken-now"), () => {
        item.taken = Date.now();
        keep(item).then(send);
      });
      break;
    } else {
      await drop(item);
      alert_(told.remedy || told.message, told.remedy ? told.message : "");
    }
  }
  sending = false;
  showQueue();
}

function sent(item) {
  return new Promise((done) => {
    const form = new FormData();
    for (const [name, value] of item.fields) form.append(name, value);
    form.append("waited", String((Date.now() - item.filled) / 1000));
    if (item.photo) {
      form.append("age", String((Date.now() - item.taken) / 1000));
      form.append(item.field, item.photo, "photo");
    }
    const request = new XMLHttpRequest();
    request.open("POST", item.action);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.timeout = PATIENCE_MS;
    request.upload.onprogress = (event) => showQueue(item, phrase("sending"), event.total ? event.loaded / event.total : 0);
    request.upload.onload = () => showQueue(item, phrase(item.photo ? "reading" : "sending"), null);
    request.onload = () => done(request);
    request.onerror = request.ontimeout = () => done(null);
    showQueue(item, phrase("sending"), 0);
    request.send(form);
  });
}

async function showQueue(at, words, part) {
  const items = await waiting();
  let tray = one("#queue");
  if (!items.length) return void tray?.remove();
  if (!tray) {
    tray = Object.assign(document.createElement("section"), { id: "queue" });
    tray.setAttribute("aria-label", phrase("waiting"));
    one("main").prepend(tray);
  }
  const rows = items.map((item) => {
    let row = one(`[data-item="${item.id}"]`, tray);
    if (!row) {
      row = document.createElement("p");
      row.dataset.item = item.id;
      if (item.photo) row.append(Object.assign(new Image(64, 48), { src: URL.createObjectURL(item.photo), alt: "" }));
      row.append(document.createElement("span"), document.createElement("progress"));
      const away = Object.assign(document.createElement("button"), { className: "quiet-button", textContent: phrase("discard") });
      away.addEventListener("click", () => drop(item).then(() => showQueue()));
      row.append(away);
    }
    const busy = at && item.id === at.id;
    one("span", row).textContent = `${busy ? words : phrase("waiting")}: ${item.what}`;
    const bar = one("progress", row);
    bar.hidden = !busy;
    bar.setAttribute("aria-label", phrase("sent"));
    if (part === null) bar.removeAttribute("value");
    else bar.value = part || 0;
    return row;
  });
  tray.replaceChildren(...rows);
}

function alert_(remedy, reason, words, act) {
  const alert = one("[data-alert]");
  if (!alert) return;
  one("[data-alert-do]", alert).textContent = remedy;
  one("[data-alert-why]", alert).textContent = reason;
  one("button", alert)?.remove();
  if (words) {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "again", textContent: words });
    button.addEventListener("click", act);
    alert.append(button);
  }
  alert.hidden = false;
  alert.focus();
}

function hideAlert() {
  const alert = one("[data-alert]");
  if (alert) alert.hidden = true;
}

function showRefused() {
  const refused = store(sessionStorage, "refused");
  store(sessionStorage, "refused", null);
  if (refused && one("[data-alert]")) alert_(...refused);
}

// --- what is typed ------------------------------------------------------------------------------------------

const draftOf = (form) => `draft:${form.dataset.draft}`;

function note(form) {
  const fields = [...new FormData(form)].filter(([name, value]) => typeof value === "string" && name !== "request");
  store(localStorage, draftOf(form), { at: Date.now(), fields });
}

function restore() {
  for (const form of all("form[data-draft]")) {
    const draft = store(localStorage, draftOf(form));
    if (!draft || Date.now() - draft.at > DRAFT_MS) continue;
    for (const [name, value] of draft.fields) {
      if (name === "client" && new URLSearchParams(location.search).has("client")) continue;
      const field = form.elements[name];
      if (field && "value" in field) field.value = value;
    }
  }
  const keepBox = one("[data-keep]");
  if (keepBox) keepBox.checked = Boolean(store(localStorage, "keep"));
  showSound();
}

// A draft goes once what it was for has been left behind: the page after it is there, or the photo has arrived.
function settle(item) {
  if (item.action === "/strands/new") store(localStorage, "draft:new", null);
}
for (const name of store(sessionStorage, "submitted") || []) {
  if (!one(`form[data-draft="${CSS.escape(name)}"] `) || name.startsWith("note-")) store(localStorage, `draft:${name}`, null);
}
store(sessionStorage, "submitted", null);

// --- what is touched ----------------------------------------------------------------------------------------

addEventListener("change", (event) => {
  const at = event.target;
  if (at.matches("[data-photo]") && at.files.length) enqueue(at.form, at);
  else if (at.matches("[data-keep]")) store(localStorage, "keep", at.checked);
});
addEventListener("input", (event) => {
  const form = event.target.form;
  if (form?.matches("[data-draft]")) note(form);
});
addEventListener("submit", (event) => {
  const form = event.target;
  if (form.matches("[data-queue]")) {
    event.preventDefault();
    const button = event.submitter;
    const kept = button?.name ? Object.assign(document.createElement("input"), { type: "hidden", name: button.name, value: button.value }) : null;
    if (kept) form.append(kept);
    enqueue(form).then(() => kept?.remove());
    if (button?.value === "gummy") stopBy(one("template[data-if-gummy]"));
  } else if (form.matches("[data-draft]")) {
    store(sessionStorage, "submitted", [...(store(sessionStorage, "submitted") || []), form.dataset.draft]);
  }
});
addEventListener("click", (event) => {
  wake();
  const at = event.target.closest("[data-sound], [data-heard], [data-call], [data-fill]");
  if (!at) return;
  if (at.matches("[data-sound]")) {
    store(localStorage, "sound", !(wantsSound() && at.getAttribute("aria-pressed") === "true"));
    wake();
    showSound();
  } else if (at.matches("[data-fill]")) {
    const form = one("#new");
    if (!store(localStorage, draftOf(form))) return; // nothing typed yet: the page of the last time is the better start
    event.preventDefault();
    form.elements.client.value = at.dataset.fill;
    note(form);
  } else hear();
});
addEventListener("keydown", wake, { once: true });
addEventListener("online", () => { poll(); send(); });
addEventListener("visibilitychange", () => { if (!document.hidden) { poll(); send(); } });
addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  const number = one("form [name=request]");
  if (number) number.value = fresh();
  poll();
});

addEventListener("resize", fit);
new ResizeObserver(fit).observe(body); // as when the text is made larger
fit();
restore();
showRefused();
tick();
send();
if (one("article[data-strand]")) hear(one("article[data-strand]").dataset.strand);
if (location.hash === "#answer") one("#answer")?.focus({ preventScroll: true });
const alertShown = one("[data-alert]:not([hidden])");
if (alertShown) alertShown.focus();
setInterval(tick, 1000);
setInterval(poll, EVERY_MS);
poll();
if (body.classList.contains("wall")) navigator.wakeLock?.request("screen").catch(() => {});
