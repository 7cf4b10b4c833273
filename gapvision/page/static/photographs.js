// The screen of a joint's photographs, and that of a roll of many joints: what is chosen is sent one after
// the other, and each is told its verdict as soon as the laptop has looked at it.

import { NotPaired, Refused, send } from "./sending.js";
import { change, held, hold, release } from "./waiting.js";

const ASK_MS = 400, ASK_SLOWLY_MS = 3000;
const list = document.getElementById("photographs");
const joint = list.dataset.joint;
const here = location.pathname;
const trouble = document.getElementById("trouble");
let wakers = [];
const queue = [];
let atWork = false, goes = false;

// --- choosing and sending ------------------------------------------------------------------------

const input = document.querySelector("#add input");

async function choose() {
  const files = Array.from(input.files);
  input.value = "";
  for (const file of files) {
    if (queue.some((q) => alike(q.item.file, file))) continue; // chosen twice
    enqueue(await hold(joint, file));
  }
}

function alike(a, b) {
  return a.name === b.name && a.size === b.size && a.lastModified === b.lastModified;
}

function enqueue(item) {
  const row = document.getElementById("photo-item").content.firstElementChild.cloneNode(true);
  row.querySelector(".name").textContent = item.name;
  row.querySelector("progress").setAttribute("aria-label", `Sent of ${item.name}`);
  say(row, "wait", "Waiting", "");
  row.querySelector("[data-part=sending]").hidden = false;
  const entry = { item, row, gone: false };
  row.querySelector("[data-part=again]").hidden = true;
  row.querySelector("[data-part=again]").addEventListener("click", wakeAll);
  row.querySelector("[data-part=forget]").addEventListener("click", () => forget(entry));
  list.append(row);
  queue.push(entry);
  work();
}

async function forget(entry) {
  entry.gone = true;
  entry.row.remove();
  await release(entry.item);
  if (entry.item.url) fetch(entry.item.url, { method: "DELETE" }).catch(() => {}); // else it is removed in a day
  if (queue[0] === entry && entry.stop) entry.stop();
  else queue.splice(queue.indexOf(entry), 1);
  wakeAll();
}

async function work() {
  if (atWork) return;
  atWork = true;
  while (queue.length) {
    const entry = queue[0];
    if (!entry.gone) await sendOne(entry);
    queue.splice(queue.indexOf(entry), 1);
  }
  atWork = false;
  refresh();
}

async function sendOne(entry) {
  const { item, row } = entry;
  const again = row.querySelector("[data-part=again]");
  try {
    const stopped = new Promise((_, reject) => { entry.stop = () => reject(new Refused("")); });
    await Promise.race([stopped, send(item.file, `/joint/${joint}/uploads`, item, {
      remember: (url) => { item.url = url; return change(item); },
      tell: ({ sent, total, waits, why }) => {
        again.hidden = waits === undefined;
        if (waits !== undefined) say(row, "warn", "No connection", why || `Trying again in ${waits} s.`);
        else {
          row.querySelector("progress").value = sent / total;
          say(row, "busy", "Sending", `${megabytes(sent)} of ${megabytes(total)} MB`);
        }
      },
      wake: () => new Promise((resolve) => wakers.push(resolve)),
    })]);
    await release(item);
    row.remove();
    await refresh();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    await release(item);
    if (entry.gone) return;
    say(row, "bad", "Not taken", error.message);
    row.querySelector("progress").hidden = true;
    again.hidden = true;
  }
}

function megabytes(bytes) {
  return (bytes / 1e6).toFixed(1);
}

function wakeAll() {
  wakers.forEach((wake) => wake());
  wakers = [];
}

addEventListener("online", wakeAll);
addEventListener("pageshow", wakeAll);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { wakeAll(); refresh(); } });

// --- what the laptop says of them ----------------------------------------------------------------

let timer = 0;

// The list as the laptop has it: asked for until every photograph has its verdict, then slowly, since
// another phone may add some. The laptop writes the rows, so that they are the same without a script.
async function refresh() {
  clearTimeout(timer);
  let next = ASK_SLOWLY_MS;
  try {
    const response = await fetch(here, { cache: "no-store" });
    if (response.status === 401) throw new NotPaired();
    if (!response.ok) throw new Error();
    const fresh = new DOMParser().parseFromString(await response.text(), "text/html");
    if (!fresh.getElementById("photographs")) { location.reload(); return; } // measured from elsewhere
    if (!goes) trouble.hidden = true;
    show(fresh);
    if (goes && !queue.length && !document.querySelector("[data-busy=true]")) document.getElementById("go").submit();
    if (document.querySelector("[data-sha]:not([data-sha=''])[data-kind=busy], [data-busy=true]")) next = ASK_MS;
  } catch (error) {
    trouble.textContent = error instanceof NotPaired ? error.message : "The laptop cannot be reached just now.";
    trouble.hidden = false;
  }
  if (!document.hidden) timer = setTimeout(refresh, next);
}

function show(fresh) {
  const known = new Map(Array.from(list.querySelectorAll("[data-sha]:not([data-sha=''])"), (r) => [r.dataset.sha, r]));
  let before = null;
  for (const row of Array.from(fresh.querySelectorAll("#photographs > li"))) {
    const old = known.get(row.dataset.sha);
    known.delete(row.dataset.sha);
    if (old && old.outerHTML === row.outerHTML) { before = old; continue; }
    const place = before ? before.nextSibling : list.firstChild;
    if (old) old.replaceWith(row);
    else list.insertBefore(row, place);
    before = row;
  }
  known.forEach((row) => row.remove());
  for (const part of Array.from(document.querySelectorAll("[data-fresh]"))) {
    const now = fresh.getElementById(part.id);
    if (part.outerHTML !== now.outerHTML) part.replaceWith(now);
  }
  const next = document.getElementById("next"); // changed in place, so that it is read out
  if (next) {
    const told = fresh.getElementById("next").textContent;
    if (next.textContent !== told) next.textContent = told;
  }
  document.getElementById("add").className = fresh.getElementById("add").className;
}

function say(row, kind, word, text) {
  if (row.dataset.kind !== kind) {
    const sign = document.getElementById("signs").content.querySelector(`[data-kind=${kind}] svg`);
    row.querySelector("strong svg").replaceWith(sign.cloneNode(true));
  }
  row.dataset.kind = kind;
  row.querySelector("strong span").textContent = word;
  row.querySelector(".text").textContent = text;
  row.classList.toggle("bad", kind === "bad");
}

// Leaving out and taking back without leaving the page.
list.addEventListener("submit", async (event) => {
  event.preventDefault();
  await fetch(event.target.action, { method: "POST", redirect: "manual" }).catch(() => {});
  refresh();
});

// Measuring, or sorting, begins once all has arrived, without pressing again.
document.addEventListener("submit", (event) => {
  if (event.target.id !== "go" || !(queue.length || document.querySelector("[data-busy=true]"))) return;
  event.preventDefault();
  goes = true;
  trouble.textContent = "It begins as soon as all photographs have arrived.";
  trouble.hidden = false;
});

input.addEventListener("change", choose);
held(joint).then((items) => { items.forEach(enqueue); choose(); }); // some were chosen before this ran
refresh();
