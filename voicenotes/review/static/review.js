"use strict";
// Sends forms, puts the changed parts of the page in their places, and makes letters work as keys.
const told = document.getElementById("told");
let lastId = null;

function tell(line, undoId) {
  told.replaceChildren(document.createTextNode(line));
  if (undoId) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Undo";
    button.addEventListener("click", () => undo(undoId));
    told.append(" ", button);
  }
  told.classList.add("shown");
}

function element(html) {
  const holder = document.createElement("template");
  holder.innerHTML = html;
  return holder.content.firstElementChild;
}

function place(parts) {
  for (const [id, html] of parts) {
    const there = document.getElementById(id);
    if (there) {
      if (player.button && there.contains(player.button)) stopPlaying();
      there.replaceWith(element(html));
    }
  }
}

async function send(fields) {
  let answer;
  try {
    answer = await fetch("/do", { method: "POST", body: fields, headers: { accept: "application/json" } });
  } catch { tell("The review has ended: nothing was kept. Start it again with voicenotes review."); return null; }
  const found = answer.headers.get("content-type")?.startsWith("application/json")
    ? await answer.json() : { problem: await answer.text() };
  if (found.parts) place(found.parts);
  if (!answer.ok) { tell(found.problem); return null; }
  document.body.dataset.corrections = found.corrections;
  lastId = found.id;
  tell(`${found.said}.`, fields.get("do") === "undo" ? null : found.id);
  return found;
}

async function undo(id) {
  const fields = new URLSearchParams({ do: "undo", id, once: crypto.randomUUID() });
  const found = await send(fields);
  if (found && ["machine", "changes"].includes(view())) location.reload();
  else if (found) focusAfter(found, false);
}

const view = () => new URLSearchParams(location.search).get("view") || "look";
const cards = () => [...document.querySelectorAll("[data-card]")];
const current = () => document.activeElement?.closest("[data-card]") || document.querySelector("[data-card].at");

function go(card) {
  if (!card) return;
  for (const other of document.querySelectorAll("[data-card].at")) other.classList.remove("at");
  card.classList.add("at");
  card.focus();
  card.scrollIntoView({ block: "nearest" });
}

// When nothing on this page is left to look at: the way to the next ones, or to the report.
function onward() {
  if (document.querySelector("[data-card]:not([data-done])")) return null;
  const ready = document.querySelector('#counts a[href="/?view=report"]');
  if (!ready && view() !== "look") return null;
  const link = document.createElement("a");
  link.href = ready ? "/?view=report" : "/?view=look";
  link.textContent = ready ? "All looked at: make the report" : "Show the next ones";
  told.append(" ", link);
  return link;
}

function focusAfter(found, goesOn) {
  const ids = found.parts.map(([id]) => id).filter((id) => /^[cr]-/.test(id));
  const here = ids.map((id) => document.getElementById(id)).find(Boolean);
  if (!goesOn) { go(here); return; }
  const all = cards();
  const from = here ? all.indexOf(here) : -1;
  const link = onward();
  if (link) { link.focus(); return; }
  go(all.slice(from + 1).find((card) => !card.hasAttribute("data-done")) || all.find((card) => !card.hasAttribute("data-done")) || here);
}

async function photosOf(form) {
  const names = [];
  for (const file of form.querySelector(".photo-input")?.files || []) {
    const answer = await fetch("/photo", { method: "POST", body: file, headers: { "content-type": "application/octet-stream" } });
    if (!answer.ok) {
      const why = answer.status === 413 ? "it is too large" : answer.status === 415 ? "it is no JPEG, PNG or WebP" : await answer.text();
      tell(`The photo ${file.name} was not taken: ${why}.`);
      return null;
    }
    names.push((await answer.json()).name);
  }
  return names.join(",");
}

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form.act");
  if (!form) return;
  event.preventDefault();
  if (form.dataset.busy) return;
  form.dataset.busy = "1";
  try {
    const fields = new URLSearchParams(new FormData(form, event.submitter));
    if (form.querySelector(".photo-input")) {
      const names = await photosOf(form);
      if (names === null) return;
      fields.set("photos", names);
    }
    const found = await send(fields);
    if (!found) return;
    if ("reload" in form.dataset || (["machine", "changes"].includes(view()))) location.reload();
    else focusAfter(found, found.goes_on);
  } finally { delete form.dataset.busy; }
});

document.addEventListener("toggle", async (event) => {
  const panel = event.target;
  if (!panel.matches?.("details.panel") || !panel.open) return;
  const inside = panel.querySelector(".inside");
  const answer = await fetch(panel.dataset.panel);
  inside.innerHTML = answer.ok ? await answer.text() : "This is not there any more. Load the page again.";
  const first = inside.querySelector("button.choice, input:not([type=hidden]), select");
  if (panel.contains(document.activeElement)) first?.focus();
}, true);

function open(panel) {
  if (!panel) return;
  panel.querySelector("summary").focus();
  panel.open = !panel.open;
}

const letters = document.getElementById("letters");
letters.checked = localStorage.getItem("letters") !== "off";
letters.addEventListener("change", () => localStorage.setItem("letters", letters.checked ? "on" : "off"));

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    const panel = document.activeElement?.closest("details.panel[open]");
    if (panel) { panel.open = false; panel.querySelector("summary").focus(); } else stopPlaying();
    return;
  }
  if (!letters.checked || event.ctrlKey || event.metaKey || event.altKey) return;
  const typing = document.activeElement?.matches("input:not([type=checkbox]), select, textarea");
  if (typing) return;
  const here = current();
  const all = cards();
  const key = event.key.toLowerCase();
  if (/^[1-8]$/.test(key)) {
    here?.querySelector(`details.change[open] button[data-key="${key}"]`)?.click();
    return;
  }
  const keys = {
    j: () => go(all[here ? all.indexOf(here) + 1 : 0]),
    k: () => go(all[here ? all.indexOf(here) - 1 : 0]),
    p: () => (player.audio.paused ? here?.querySelector("button.play")?.click() : stopPlaying()),
    c: () => here?.querySelector("button.confirm")?.click(),
    e: () => open(here?.querySelector("details.change")),
    f: () => open(here?.querySelector("details.fix")),
    a: () => open(document.querySelector("details.add.new")),
    u: () => lastId && undo(lastId).then(() => { lastId = null; }),
  };
  if (keys[key]) { event.preventDefault(); keys[key](); }
});

// Another window may have corrected something meanwhile.
async function look() {
  if (document.hidden) return;
  try {
    const answer = await fetch("/state");
    const { corrections } = await answer.json();
    document.getElementById("elsewhere").hidden = String(corrections) === document.body.dataset.corrections;
  } catch { /* the review has ended; the next action says so */ }
}
document.addEventListener("visibilitychange", look);
window.addEventListener("focus", look);
