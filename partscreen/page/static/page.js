// Comfort only: every page works without this file. While work goes on, its words are fetched and the page is loaded
// again when the work has ended.
"use strict";
const work = document.querySelector("[data-progress]");
if (work) {
  const bar = document.querySelector("progress");
  const words = document.getElementById("work-words");
  const ask = async () => {
    try {
      const told = await (await fetch(work.dataset.progress)).json();
      if (told.ended) { location.reload(); return; }
      if (told.what) { words.textContent = `${told.what}: ${told.done} of ${told.total}`; }
      if (told.total > 0) { bar.max = told.total; bar.value = told.done; }
    } catch { location.reload(); return; }
    setTimeout(ask, 250);
  };
  setTimeout(ask, 250);
}

// Typing. What stands in the field is chosen, so that the next scan takes its place; Enter goes to the next empty field;
// the answer about the newest part is put in when it is there. A line is sent without leaving the page, so that keys and
// scans that come meanwhile are not lost; lines wait for each other, and none is sent past a question.
const held = document.querySelector("input[autofocus]");
if (held && held.value) { held.select(); }
document.addEventListener("keydown", (event) => {
  const cells = event.target instanceof HTMLInputElement && event.target.type === "text" && event.target.closest("[data-fields]");
  if (event.key !== "Enter" || !cells) { return; }
  const all = [...cells.querySelectorAll("input[type='text']")];
  const next = all.slice(all.indexOf(event.target) + 1).find((one) => !one.value.trim());
  if (next) { event.preventDefault(); next.focus(); }
});

const follow = async (place) => {
  let lost = 0;  // an answer that did not come is asked for again, a few times
  while (place.isConnected && lost < 5) {
    try {
      const told = await (await fetch(place.dataset.answer)).json();
      if (told.first) {
        const next = told.following ? ` Next: ${told.following}` : "";
        place.querySelector(".first-words").textContent = `${told.word}. ${told.first}${next}`;
        return;
      }
      if (told.ended) { return; }
    } catch { lost += 1; }
    await new Promise((done) => { setTimeout(done, 300); });
  }
};
const settle = (place) => {
  const words = place.textContent;
  const until = performance.now() + 1000 * Number(place.dataset.settle);
  const tick = () => {
    const left = Math.ceil((until - performance.now()) / 1000);
    place.textContent = left > 0 ? `${words} ${left} s to go.` : `${words} It has settled.`;
    if (left > 0 && place.isConnected) { setTimeout(tick, 200); }
  };
  tick();
};
const wake = () => {
  const answer = document.querySelector("[data-answer]");
  if (answer && answer.dataset.answer) { follow(answer); }
  const settling = document.querySelector("[data-settle]");
  if (settling) { settle(settling); }
};
wake();

const lines = [];
let sending = false;
const unsent = (words) => {
  const form = document.querySelector("form[data-line]");
  const note = document.createElement("p");
  note.setAttribute("role", "alert");
  note.textContent = words;
  (form || document.querySelector("main")).before(note);
};
const sendLines = async () => {
  sending = true;
  while (lines.length > 0) {
    const form = document.querySelector("form[data-line]");
    const line = lines.shift();
    const body = new URLSearchParams(new FormData(form));
    body.set("line", line);
    let page;
    try {
      const answer = await fetch(form.action, { method: "POST", body });
      if (new URL(answer.url).pathname !== new URL(form.action).pathname) { location.assign(answer.url); return; }
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!page.querySelector("form[data-line]")) { throw new Error("another page"); }
    } catch {
      const rest = [line, ...lines.splice(0)].join("  /  ");
      unsent(`The program does not answer. Not kept: ${rest}. Start it again, open this page anew, and send it once more.`);
      break;
    }
    const meanwhile = document.getElementById("line").value;
    document.querySelector("main").replaceWith(page.querySelector("main"));
    document.title = page.title;
    const field = document.getElementById("line");
    field.focus();
    if (field.value || document.querySelector(".question")) {
      const rest = [...lines.splice(0), meanwhile].filter((one) => one.trim());
      if (rest.length > 0) { unsent(`Typed meanwhile and not sent: ${rest.join("  /  ")}`); }
      field.select();
    } else { field.value = meanwhile; }
    wake();
  }
  sending = false;
};
document.addEventListener("submit", (event) => {
  if (!event.target.matches("form[data-line]")) { return; }
  const field = event.target.elements.namedItem("line");
  event.preventDefault();
  if (!field.value.trim()) { return; }
  lines.push(field.value);
  field.value = "";
  if (!sending) { sendLines(); }
});
