// The morning review: one touch accepts, declines, chooses another line, takes back, or books what a scan ends.
"use strict";
(() => {
  const trouble = document.getElementById("trouble");
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
  const keys = new WeakMap();

  const say = (text) => { trouble.textContent = text; trouble.hidden = false; trouble.scrollIntoView({ block: "center" }); };

  // One key a button and content: a second touch after a lost answer does nothing twice.
  const keyOf = (button, text) => {
    const last = keys.get(button);
    if (last?.text === text) return last.key;
    const fresh = { text, key: newKey() };
    keys.set(button, fresh);
    return fresh.key;
  };

  const post = async (button, path, body) => {
    button.disabled = true;
    trouble.hidden = true;
    const text = JSON.stringify(body);
    try {
      const headers = { "Content-Type": "application/json", "Idempotency-Key": keyOf(button, path + text) };
      const answer = await fetch(path, { method: "POST", headers, body: text, credentials: "same-origin" });
      if (answer.ok) { location.reload(); return; }
      if (answer.status === 401) { location.assign("/sign-in"); return; }
      const problem = await answer.json();
      const stale = ["advice_changed", "already_decided", "not_a_candidate"].includes(problem.code);
      say(stale ? `${problem.detail} Load the page again.` : problem.detail);
    } catch {
      say("The shop's server does not answer. Nothing is lost: try again.");
    }
    button.disabled = false;
  };

  const on = (name, act) => document.querySelectorAll(`button[data-${name}]`).forEach((button) => button.addEventListener("click", () => act(button, button.dataset[name])));
  const decision = (inside, way, more) => {
    const { cut, basis } = inside.closest(".proposal").dataset;
    return { cut_code: cut, basis, way, ...more };
  };
  const decide = (button, decisions) => post(button, "/v1/decisions", { decisions });

  on("accept", (button) => decide(button, [decision(button, "accepted")]));
  on("decline", (button) => decide(button, [decision(button, "declined")]));
  on("choice", (button, choice) => decide(button, [decision(button, "changed", JSON.parse(choice))]));
  on("undo", (button, id) => post(button, `/v1/decisions/${id}/undo`, {}));
  on("drop", (button, id) => post(button, `/v1/errands/${id}/drops`, {}));
  on("waste", (button, code) => post(button, `/v1/trays/${code}/wastes`, { reason: "life ended, morning review" }));

  const all = document.getElementById("accept-all");
  all?.addEventListener("click", () => decide(all, Array.from(document.querySelectorAll(".proposal"), (proposal) => decision(proposal, "accepted"))));

  document.querySelectorAll("form[data-price]").forEach((form) => form.addEventListener("submit", (event) => {
    event.preventDefault();
    const typed = form.elements.price.value.trim().replace(",", ".");
    if (!/^\d+(\.\d+)?$/.test(typed)) { say("Type the price as a number, such as 49.90."); return; }
    const price = Math.round(Number(typed) * 10 ** Number(form.dataset.decimals));
    decide(form.querySelector("button"), [decision(form, "changed", { price_per_kg_cents: price })]);
  }));

  const carried = document.getElementById("carried");
  carried?.addEventListener("submit", (event) => {
    event.preventDefault();
    const scanned = document.getElementById("carried-code").value.trim();
    const place = document.getElementById("carried-place")?.value;
    if (scanned) post(carried.querySelector("button"), "/v1/errands/completions", place ? { scanned, place_code: place } : { scanned });
  });
})();
