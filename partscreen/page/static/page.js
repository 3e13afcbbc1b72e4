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

// Typing: what stands in the field is chosen, so that the next scan takes its place; Enter goes to the next empty field;
// the answer about the newest part is put in when it is there, without touching what is being typed.
const held = document.querySelector("input[autofocus]");
if (held && held.value) { held.select(); }
const cells = document.querySelector("[data-fields]");
if (cells) {
  cells.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target.type !== "text") { return; }
    const all = [...cells.querySelectorAll("input[type='text']")];
    const next = all.slice(all.indexOf(event.target) + 1).find((one) => !one.value.trim());
    if (next) { event.preventDefault(); next.focus(); }
  });
}
const answer = document.querySelector("[data-answer]");
if (answer && answer.dataset.answer) {
  const look = async () => {
    try {
      const told = await (await fetch(answer.dataset.answer)).json();
      if (told.first) { answer.querySelector(".first-words").textContent = `${told.word}. ${told.first}${told.following ? ` Next: ${told.following}` : ""}`; return; }
      if (told.ended) { return; }
    } catch { return; }
    setTimeout(look, 300);
  };
  setTimeout(look, 300);
}
const settling = document.querySelector("[data-settle]");
if (settling) {
  const words = settling.textContent;
  const until = performance.now() + 1000 * Number(settling.dataset.settle);
  const tick = () => {
    const left = Math.ceil((until - performance.now()) / 1000);
    settling.textContent = left > 0 ? `${words} ${left} s to go.` : `${words} It has settled.`;
    if (left > 0) { setTimeout(tick, 200); }
  };
  tick();
}

// A sticker scanned into a form: the reader's Enter goes to the next field, so that no half-filled form is sent.
for (const scan of document.querySelectorAll("input[data-scan]")) {
  scan.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") { return; }
    const all = [...scan.form.elements].filter((one) => one.type !== "hidden" && one.tagName !== "FIELDSET");
    const next = all[all.indexOf(scan) + 1];
    if (next) { event.preventDefault(); next.focus(); }
  });
}
