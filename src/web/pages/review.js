// The morning review: one touch accepts a markdown, sends to the kitchen or books waste.
"use strict";
(() => {
  const trouble = document.getElementById("trouble");
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
  const keys = new WeakMap();

  const post = async (button, path, body) => {
    button.disabled = true;
    // One key a button: a second touch after a lost answer does nothing twice.
    if (!keys.has(button)) keys.set(button, newKey());
    try {
      const headers = { "Content-Type": "application/json", "Idempotency-Key": keys.get(button) };
      const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body), credentials: "same-origin" });
      if (answer.ok) return true;
      if (answer.status === 401) location.assign("/sign-in");
      const problem = await answer.json();
      trouble.textContent = problem.detail;
    } catch {
      trouble.textContent = "The shop's server does not answer. Nothing is lost: try again.";
    }
    trouble.hidden = false;
    button.disabled = false;
    return false;
  };

  const done = (codes, word) => {
    for (const code of codes) {
      const item = document.querySelector(`[data-code="${code}"]`);
      item.classList.add("done");
      item.querySelectorAll("button").forEach((button) => button.remove());
      const note = document.createElement("p");
      note.setAttribute("role", "status");
      note.textContent = word;
      item.append(note);
    }
  };

  const each = (name, act) => document.querySelectorAll(`button[data-${name}]`).forEach((button) => button.addEventListener("click", () => act(button, button.dataset[name])));
  each("accept", async (button, code) => { if (await post(button, "/v1/review/accepts", { tray_codes: [code] })) done([code], "Marked down; a new label is wanted."); });
  each("kitchen", async (button, code) => { if (await post(button, `/v1/trays/${code}/kitchen-transfers`, { reason: "morning review" })) done([code], "In the kitchen."); });
  each("waste", async (button, code) => { if (await post(button, `/v1/trays/${code}/wastes`, { reason: "life ended, morning review" })) done([code], "Thrown away."); });

  const all = document.getElementById("accept-all");
  all?.addEventListener("click", async () => {
    const codes = Array.from(document.querySelectorAll("button[data-accept]"), (button) => button.dataset.accept);
    if (codes.length && await post(all, "/v1/review/accepts", { tray_codes: codes })) { done(codes, "Marked down; a new label is wanted."); all.remove(); }
  });
})();
