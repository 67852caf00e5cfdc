// The board: what changed in the shop is shown without a touch. Without the stream the page is as it was loaded.
"use strict";
(() => {
  const PAUSE = 3000;
  const AGAIN = 15000;
  const content = document.getElementById("content");
  let due = false;
  let waiting = false;

  // Not under somebody's finger, and not where nobody looks.
  const busy = () => document.hidden || content.contains(document.activeElement);

  const refresh = async () => {
    due = false;
    try {
      // The header says that nobody touched anything: an unattended board signs out like any other page.
      const answer = await fetch("/", { headers: { "Sakudana-Refresh": "board" }, credentials: "same-origin", cache: "no-store" });
      if (new URL(answer.url).pathname !== "/") return location.assign("/sign-in");
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("content");
      if (fresh && !busy()) content.replaceChildren(...fresh.childNodes);
      else due = true;
    } catch {
      due = true;
    }
  };

  // At once when it was quiet, and then no more often than every few seconds.
  const changed = () => {
    due = true;
    if (waiting || busy()) return;
    waiting = true;
    refresh().finally(() => setTimeout(() => { waiting = false; if (due) changed(); }, PAUSE));
  };

  const listen = (again) => {
    const events = new EventSource("/v1/events");
    for (const name of ["tray", "act", "reset"]) events.addEventListener(name, changed);
    if (again) events.addEventListener("open", changed, { once: true });
    // A browser comes again by itself after a break, but not after a refusal.
    events.addEventListener("error", () => { if (events.readyState === EventSource.CLOSED) setTimeout(() => listen(true), AGAIN); });
    addEventListener("pagehide", () => events.close(), { once: true });
  };

  document.addEventListener("visibilitychange", () => { if (due) changed(); });
  document.addEventListener("focusout", () => { if (due) setTimeout(changed, 0); });
  listen(false);
})();
