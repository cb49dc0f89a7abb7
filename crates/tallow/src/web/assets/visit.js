// The checklist of a visit works without this. It makes it quicker, and keeps what is pressed on the device while there is no
// connection. What the page says of the work is drawn by the server alone: its parts marked data-live are taken from a fresh
// copy of the page.
"use strict";

const visit = document.getElementById("visit");
const number = visit.dataset.visit;
const here = location.pathname;
const RETRY_MS = 5000;

// What was pressed and is not yet sent, oldest first: of each its key, where it goes, and what a form would send. ----------------

const PREFIX = "tallow-visit-";

function kept(of = number) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + of) ?? "[]");
  } catch {
    return [];
  }
}

function keep(items, of = number) {
  if (items.length) localStorage.setItem(PREFIX + of, JSON.stringify(items));
  else localStorage.removeItem(PREFIX + of);
}

// The list is read anew before each change: another tab may have changed it.
function change(key, how, of = number) {
  keep(kept(of).flatMap((item) => (item.key === key ? how(item) : [item])), of);
}

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Sending -----------------------------------------------------------------------------------------------------------------

let isSending = false;

async function send() {
  if (isSending) return;
  isSending = true;
  try {
    const pressedIn = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)).map((key) => key.slice(PREFIX.length));
    for (const of of new Set([...pressedIn, ...photos.map((photo) => photo.of)])) {
      for (let item; (item = kept(of).find((item) => !item.refused)); ) {
        // A visit that is finished takes no photo any more: those taken before are sent first.
        if (item.task === "" && !(await sendPhotos(of))) return;
        if (!(await sendOne(item, of))) return;
      }
      if (!(await sendPhotos(of))) return;
    }
  } finally {
    isSending = false;
    showKept();
  }
}

// Whether the server took it or refused it; false where it could not be asked.
async function sendOne(item, of) {
  const body = new URLSearchParams(item.body);
  body.set("key", item.key);
  body.set("ago", Math.max(0, Math.round((Date.now() - item.at) / 1000)));
  const page = await ask(item.to, { method: "POST", body }, of);
  if (!page) return false;
  if (page.trouble) {
    change(item.key, (item) => [{ ...item, refused: page.trouble }], of);
  } else {
    change(item.key, () => [], of);
  }
  if (of === number) take(page.visit);
  return true;
}

// The visit's part of the page that the server answers with, and what it refused. Nothing where there is no connection, or
// where the answer is another page: of somebody who has to sign in first.
async function ask(to, how, of = number) {
  let response, text;
  try {
    response = await fetch(to, { credentials: "same-origin", ...how });
    text = await response.text();
  } catch {
    return null;
  }
  const page = new DOMParser().parseFromString(text, "text/html").querySelector(`#visit[data-visit="${of}"]`);
  if (!page || (!response.ok && response.status !== 422)) return null;
  const said = [...page.querySelectorAll(".trouble[role=alert] p")].map((line) => line.textContent).join(" ");
  const trouble = response.ok ? null : said || "refused";
  return { visit: page, trouble };
}

// Puts what a fresh copy of the page says in the place of what this one says; what is being typed stays.
function take(fresh) {
  if (fresh.dataset.over && !visit.dataset.over) {
    if (!keptHere().some((item) => item.refused)) location.replace(here);
    return;
  }
  if (visit.dataset.over) return;
  visit.dataset.size = fresh.dataset.size;
  for (const live of visit.querySelectorAll("[data-live]")) {
    const now = fresh.querySelector("#" + live.id);
    if (!now || now.innerHTML === live.innerHTML) continue;
    const typed = new Map([...live.querySelectorAll("input:not([type=hidden])")].map((input) => [input.name, input.value]));
    live.replaceChildren(...document.importNode(now, true).childNodes);
    for (const input of live.querySelectorAll("input:not([type=hidden])")) input.value = typed.get(input.name) ?? input.value;
  }
  for (const step of visit.querySelectorAll("[data-state]")) {
    const now = fresh.querySelector("#" + step.id);
    if (now) step.dataset.state = now.dataset.state;
  }
  showKept();
}

async function look() {
  if (visit.dataset.over || document.hidden || isSending) return;
  try {
    const response = await fetch(visit.dataset.news, { credentials: "same-origin" });
    if (!response.ok || (await response.text()) === visit.dataset.size) return;
  } catch {
    return;
  }
  const page = await ask(here + "?all=yes", {});
  if (page) take(page.visit);
}

// What is kept on the device, said at its task and at the head ------------------------------------------------------------

function element(name, text) {
  const made = document.createElement(name);
  made.textContent = text;
  return made;
}

function showKept() {
  const items = keptHere();
  const waiting = items.filter((item) => !item.refused);
  const unsent = document.getElementById("unsent");
  const parts = [];
  if (waiting.length) {
    const what = waiting.map((item) => item.words).join("; ");
    parts.push(element("p", `Kept on this device, not yet sent: ${what}.`));
  }
  for (const item of items.filter((item) => item.refused)) {
    const refused = element("p", `Not taken: ${item.words}. ${item.refused} `);
    const drop = element("button", "I have seen it");
    drop.type = "button";
    drop.className = "quiet";
    drop.addEventListener("click", () => {
      if (item.isPhoto) forgetPhoto(item.key).then(showKept);
      else change(item.key, () => []);
      showKept();
      if (!visit.dataset.over) look();
    });
    refused.append(drop);
    parts.push(refused);
  }
  const words = parts.map((part) => part.textContent).join();
  if (unsent.textContent !== words || !parts.length) unsent.replaceChildren(...parts);
  unsent.classList.add("trouble");
  unsent.hidden = !parts.length;
  for (const step of visit.querySelectorAll("section.step[data-task]")) {
    const own = items.filter((item) => item.task === step.dataset.task);
    const last = own.filter((item) => item.outcome).at(-1);
    step.dataset.kept = last && !last.refused ? last.outcome : "";
    const word = (item) => `${item.words}: ${item.refused ? "not taken. " + item.refused : "kept on this device, not yet sent"}`;
    step.querySelector(":scope > .local").textContent = own.map(word).join(" · ");
  }
  // What is ticked on this device needs no reason at the finish.
  for (const left of visit.querySelectorAll("#left-out [data-task]")) {
    const step = [...visit.querySelectorAll("section.step[data-task]")].find((step) => step.dataset.task === left.dataset.task);
    left.hidden = ["done", "skip"].includes(step?.dataset.kept);
  }
  const finish = document.querySelector("#finish .local");
  if (finish) {
    const own = items.find((item) => item.task === "" && !item.refused);
    finish.textContent = own ? "The finish is kept on this device, not yet sent." : "";
  }
}

// Pressing ----------------------------------------------------------------------------------------------------------------

function pressed(form, button) {
  const data = new FormData(form);
  if (button?.name) data.set(button.name, button.value);
  data.delete("key");
  const task = data.get("task");
  const typed = [...data].filter(([name, value]) => value && !["task", "view", "do"].includes(name));
  const outcome = form.id === "finish" ? "finish" : data.get("do");
  const word = { done: "done", skip: "skipped", open: "still to be done", keep: "kept", finish: "the finish" }[outcome];
  const beside = typed.map(([name, value]) => `${name.replace(/^[a-z]+:([^|]*\|)?/, "")} ${value}`).join(", ");
  return {
    key: newKey(),
    to: form.getAttribute("action"),
    body: new URLSearchParams(data).toString(),
    at: Date.now(),
    task,
    outcome: outcome === "keep" ? "" : outcome,
    words: [task && `${task}:`, word, beside && `(${beside})`].filter(Boolean).join(" "),
  };
}

visit.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.matches("form.photo")) {
    event.preventDefault();
    takePhoto(form);
    return;
  }
  event.preventDefault();
  const item = pressed(form, event.submitter);
  if (item.outcome === "skip" && !new URLSearchParams(item.body).get("reason")?.trim()) {
    form.elements.namedItem("reason").focus();
    return;
  }
  if (form.id === "finish" && kept().some((other) => other.task === "" && !other.refused)) return;
  keep([...kept(), item]);
  showKept();
  if (form.id !== "finish") {
    for (const input of form.querySelectorAll("input:not([type=hidden])")) input.value = "";
    for (const details of form.querySelectorAll("details")) details.open = false;
    const step = form.closest("section.step");
    if (["done", "skip"].includes(item.outcome) && visit.dataset.view !== "all") show(Number(step.dataset.number) + 1);
  }
  send();
});

// Photos -------------------------------------------------------------------------------------------------------------------

const LARGEST_PHOTO = 6000000;

// What waits on this device to be sent, as it is told on the page: without the photos' bytes, which stay in the database.
let photos = [];

function keptHere() {
  return [...kept(), ...photos.filter((photo) => photo.of === number)];
}

// The answer of a request to the browser's database. Fails where it keeps none, as in some private windows, or is full.
function answered(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function inPhotos(mode, ask) {
  const open = indexedDB.open("tallow-photos", 1);
  open.onupgradeneeded = () => open.result.createObjectStore("photos", { keyPath: "key" });
  const database = await answered(open);
  try {
    const transaction = database.transaction("photos", mode);
    const isDone = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error);
    });
    const [answer] = await Promise.all([answered(ask(transaction.objectStore("photos"))), isDone]);
    return answer;
  } finally {
    database.close();
  }
}

async function readPhotos() {
  const all = await inPhotos("readonly", (store) => store.getAll()).catch(() => []);
  photos = all.sort((one, other) => one.at - other.at).map(({ file, ...told }) => ({ ...told, outcome: "", isPhoto: true }));
}

async function keepPhoto(photo) {
  await inPhotos("readwrite", (store) => store.put(photo));
  await readPhotos();
}

async function forgetPhoto(key) {
  await inPhotos("readwrite", (store) => store.delete(key));
  await readPhotos();
}

function postPhoto({ key, of, to, task, view, file }) {
  const body = new FormData();
  for (const [name, value] of Object.entries({ key, task, view, photo: file })) body.set(name, value);
  return ask(to, { method: "POST", body }, of);
}

// Whether the server took or refused each photo of a visit that waits; false where it could not be asked.
async function sendPhotos(of) {
  for (let next; (next = photos.find((photo) => photo.of === of && !photo.refused)); ) {
    const photo = await inPhotos("readonly", (store) => store.get(next.key));
    // Another tab may have sent it; where both do, the server keeps one of each key.
    if (!photo) {
      await readPhotos();
      continue;
    }
    const page = await postPhoto(photo);
    if (!page) return false;
    if (page.trouble) await keepPhoto({ ...photo, refused: page.trouble });
    else await forgetPhoto(photo.key);
    if (of === number) take(page.visit);
  }
  return true;
}

async function takePhoto(form) {
  const input = form.elements.namedItem("photo");
  const say = (words) => (form.querySelector(".local").textContent = words);
  const file = input.files[0];
  if (!file) return;
  if (file.size > LARGEST_PHOTO) {
    say(`The photo has more than ${LARGEST_PHOTO / 1e6} MB. Choose a smaller size in the camera.`);
    return;
  }
  const data = new FormData(form);
  const [task, view] = [data.get("task"), data.get("view")];
  const key = (form.dataset.key ||= newKey());
  const photo = { key, of: number, to: form.getAttribute("action"), task, view, file, at: Date.now(), words: `${task}: a photo` };
  try {
    await keepPhoto(photo);
  } catch {
    say("Sending the photo.");
    const page = await postPhoto(photo);
    if (!page) {
      say("No connection, and this browser keeps no photos: it is not sent. Press again when the connection is back.");
      return;
    }
    say(page.trouble ?? "");
    take(page.visit);
    delete form.dataset.key;
    if (!page.trouble) form.reset();
    return;
  }
  delete form.dataset.key;
  say("");
  form.reset();
  showKept();
  send();
}

visit.addEventListener("change", (event) => {
  if (event.target.matches("form.photo input[type=file]")) takePhoto(event.target.form);
});

// One step at a time, or all -----------------------------------------------------------------------------------------------

function show(step) {
  const sections = [...visit.querySelectorAll("section.step")];
  if (step === "here") {
    const open = sections.find((section) => section.dataset.state === "open" && !["done", "skip"].includes(section.dataset.kept));
    step = Number((open ?? sections.at(-1)).dataset.number);
  }
  const isAll = step === "all";
  if (!isAll) step = Math.min(Math.max(1, Number(step) || 1), sections.length);
  visit.dataset.view = step;
  for (const section of sections) section.hidden = !isAll && Number(section.dataset.number) !== step;
  for (const input of visit.querySelectorAll("input[name=view]")) input.value = isAll ? "all" : input.closest("section").dataset.number;
  for (const link of visit.querySelectorAll("nav.views a")) {
    if ((link.dataset.step === "all") === isAll) link.setAttribute("aria-current", "true");
    else link.removeAttribute("aria-current");
  }
  history.replaceState(null, "", isAll ? "?all=yes" : `?step=${step}`);
  if (isAll) return;
  const heading = sections[step - 1].querySelector("h2");
  if (step !== 1) visit.querySelector(".layout").open = false;
  heading.focus({ preventScroll: true });
  sections[step - 1].scrollIntoView({ block: "start" });
}

visit.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-step]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  show(link.dataset.step);
});

// Timers: the end is kept, so that the time goes on while the phone sleeps or the page is loaded again --------------------------

const TIMERS = "tallow-timers-" + number;

function timers() {
  try {
    return JSON.parse(localStorage.getItem(TIMERS) ?? "{}");
  } catch {
    return {};
  }
}

function clock() {
  const ends = timers();
  for (const timer of visit.querySelectorAll(".timer")) {
    const end = ends[timer.id];
    const left = end === undefined ? null : Math.max(0, Math.ceil((end - Date.now()) / 1000));
    const text = left === null ? "" : left === 0 ? "time is over" : `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")} left`;
    const shown = timer.querySelector(".left");
    if (shown.textContent === text) continue;
    const wasRunning = shown.textContent.endsWith("left");
    shown.textContent = text;
    if (left === 0 && wasRunning) {
      document.getElementById("announce").textContent = `The time for ${timer.dataset.what} is over. Read the temperature, do not feel it.`;
    }
  }
}

for (const timer of visit.querySelectorAll(".timer")) {
  const button = timer.querySelector("button");
  button.hidden = false;
  button.addEventListener("click", () => {
    const end = Date.now() + Number(timer.dataset.minutes) * 60000;
    localStorage.setItem(TIMERS, JSON.stringify({ ...timers(), [timer.id]: end }));
    document.getElementById("announce").textContent = "";
    clock();
  });
}

// The start ----------------------------------------------------------------------------------------------------------------

showKept();
clock();
readPhotos().then(send);
setInterval(clock, 1000);
setInterval(() => ([...kept(), ...photos].some((item) => !item.refused) ? send() : look()), RETRY_MS);
addEventListener("online", send);
document.addEventListener("visibilitychange", () => document.hidden || send().then(look));
if (!visit.dataset.over) {
  // A copy of the page that was kept on the device was made for another step.
  const asked = new URLSearchParams(location.search);
  if (asked.has("step") || asked.has("all")) {
    const wanted = asked.has("all") ? "all" : asked.get("step");
    if (wanted !== visit.dataset.view) show(wanted);
  } else if (visit.querySelector("section.step[data-kept=done], section.step[data-kept=skip]")) {
    show("here");
  }
}

// Only a page that was opened is kept readable, with its style and its scripts. Browsers allow it over TLS and on the machine itself.
navigator.serviceWorker?.register("/visit-worker.js", { scope: "/visits/" }).then(async () => {
  const { active } = await navigator.serviceWorker.ready;
  const beside = [...document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src]")].map((one) => one.href || one.src);
  active.postMessage({ page: here, beside });
}, () => {});
