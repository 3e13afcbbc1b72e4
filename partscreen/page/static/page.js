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
