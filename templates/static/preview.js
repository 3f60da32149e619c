// Looks every second whether the folder has changed, and shows the page anew if so.
"use strict";
(() => {
  const state = document.querySelector("[data-state]").dataset.state;
  const look = async () => {
    try {
      const answer = await fetch("/state", { cache: "no-store" });
      if (answer.ok && (await answer.text()) !== state) { location.reload(); return; }
    } catch { /* the preview was stopped; it may come back */ }
    setTimeout(look, 1000);
  };
  setTimeout(look, 1000);
})();
