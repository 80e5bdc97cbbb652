// What the phone page does beyond plain forms: it sends a photo as soon as it is taken, keeps it until it has
// arrived, and lets the clocks run. Without this file every form still works by its own button.
"use strict";

const LOST = "No connection to the salon's computer.";
const LOST_DO = "Your photo is kept here. Check the Wi-Fi, then send it again.";
const ODD = "The salon's computer gave no answer that can be read.";
const LOCKED = "This phone is not let in any more.";
const LOCKED_DO = "Your photo is kept here. Scan the code on the salon's computer again, then send it again.";
// Answers to a photo that may be sent again as it is: too slow, too much at once, or the computer's own trouble.
const AGAIN = (status) => status === 408 || status === 429 || status >= 500;
const PATIENCE_MS = 60000;

for (const form of document.querySelectorAll("[data-camera]")) startCamera(form);
startClocks();
// A page that comes back as it was left may have missed a look that another phone took.
addEventListener("pageshow", (event) => event.persisted && location.reload());

function startCamera(form) {
  const dock = form.parentElement;
  const alert = dock.querySelector("[data-alert]");
  const again = dock.querySelector("[data-again]");
  const say = dock.querySelector("[data-say]");
  const state = form.querySelector("[data-state]");
  const words = form.querySelector("[data-state-words]");
  const progress = form.querySelector("progress");
  let photo = null;

  for (const input of form.querySelectorAll("[data-photo]")) {
    input.addEventListener("change", () => {
      if (!input.files.length) return;
      photo = input.files[0];
      // The same file may be chosen again: a field that still holds it would not notice.
      input.value = "";
      send();
    });
  }
  again.addEventListener("click", send);
  if (!alert.hidden) alert.focus();

  function send() {
    if (!photo) return;
    const fields = new FormData(form);
    fields.delete("photo");
    fields.append("photo", photo, photo.name);
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.timeout = PATIENCE_MS;
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) show("Sending", (100 * event.loaded) / event.total);
    });
    request.upload.addEventListener("load", () => show("Reading the strand", null));
    request.addEventListener("load", () => answered(request));
    request.addEventListener("error", () => fail(LOST_DO, LOST, true));
    request.addEventListener("timeout", () => fail(LOST_DO, LOST, true));
    alert.hidden = true;
    show("Sending", 0);
    request.send(fields);
  }

  function answered(request) {
    const body = request.response;
    if (request.status === 200 && body && body.location) {
      location.assign(body.location);
    } else if (request.status === 403) {
      fail(LOCKED_DO, LOCKED, true);
    } else if (body && body.message) {
      fail(body.remedy || body.message, body.remedy ? body.message : "", AGAIN(request.status));
    } else {
      fail(LOST_DO, ODD, true);
    }
  }

  function show(what, percent) {
    form.classList.add("busy");
    state.hidden = false;
    if (words.textContent !== what) {
      words.textContent = what;
      say.textContent = what;
    }
    if (percent === null) progress.removeAttribute("value");
    else progress.value = percent;
  }

  function fail(remedy, reason, keep) {
    form.classList.remove("busy");
    state.hidden = true;
    say.textContent = "";
    alert.querySelector("[data-alert-do]").textContent = remedy;
    alert.querySelector("[data-alert-why]").textContent = reason;
    again.hidden = !keep;
    alert.hidden = false;
    if (!keep) photo = null;
    (keep ? again : alert).focus();
  }
}

function startClocks() {
  // Counted from when the page arrived, so that a phone whose own clock is wrong still shows the right minutes.
  const arrived = Date.now();
  const clocks = document.querySelectorAll("[data-clock]");
  const dues = document.querySelectorAll("[data-due]");
  const tick = () => {
    const passed = (Date.now() - arrived) / 60000;
    for (const clock of clocks) showClock(clock, passed);
    for (const due of dues) showDue(due, passed);
  };
  tick();
  setInterval(tick, 5000);
  document.addEventListener("visibilitychange", tick);
}

function showClock(clock, passed) {
  const minutes = Number(clock.dataset.minutes) + passed;
  clock.querySelector("[data-clock-minutes]").textContent = Math.floor(minutes);
  const limit = Number(clock.dataset.limit);
  if (!limit) return;
  const bar = (clock.closest("a") || document).querySelector("[data-clock-bar]");
  if (bar) bar.setAttribute("width", Math.min(100, (100 * minutes) / limit).toFixed(2));
  if (minutes >= limit && !clock.classList.contains("over")) {
    clock.classList.add("over");
    clock.querySelector("[data-clock-limit]").textContent = "time is up";
  }
}

function showDue(due, passed) {
  const left = Number(due.dataset.due) - passed;
  const whole = Math.max(0, Math.round(left));
  const begin = due.dataset.capital ? "L" : "l";
  due.classList.toggle("now", left < 0.5);
  due.textContent = left < 0.5 ? `${begin}ook now` : `${begin}ook in ${whole} min`;
}
