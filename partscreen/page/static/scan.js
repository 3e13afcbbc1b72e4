// Comfort only. A sticker scanned into a form: the reader's Enter goes to the next field, so that no half-filled form is
// sent. Elsewhere Enter sends a form, as browsers do.
"use strict";
for (const scan of document.querySelectorAll("input[data-scan]")) {
  scan.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") { return; }
    const all = [...scan.form.elements].filter((one) => one.type !== "hidden" && one.tagName !== "FIELDSET");
    const next = all[all.indexOf(scan) + 1];
    if (next) { event.preventDefault(); next.focus(); }
  });
}
