// Picking: begins lists, and keeps the plans that refills are made by; works a list off by scanning, as the scan page does, and draws what stands anew after each answer.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
  const trouble = $("trouble");

  const send = async (method, path, body, more) => {
    const headers = { "Content-Type": "application/json", ...more };
    try {
      const answer = await fetch(path, { method, headers, body: JSON.stringify(body), credentials: "same-origin" });
      if (answer.status === 401) location.assign("/sign-in");
      return { ok: answer.ok, status: answer.status, body: await answer.json() };
    } catch {
      return { ok: false, status: 0, body: { detail: "The shop's server does not answer. Nothing is lost: try again." } };
    }
  };
  const ask = (path, body, key) => send("POST", path, body, { "Idempotency-Key": key });
  const grouped = (code) => `${code.slice(0, 3)} ${code.slice(3)}`;
  const complain = (body) => {
    const reasons = (body.errors ?? []).map((error) => error.detail).filter(Boolean).map((text) => text[0].toUpperCase() + text.slice(1));
    trouble.textContent = reasons.length ? `${body.title ?? ""} ${reasons.join(". ")}`.trim() : body.detail;
    trouble.hidden = false;
    trouble.scrollIntoView({ block: "nearest" });
  };

  // A new list: one key a form until it is answered, so that a second touch makes no second list.
  for (const form of document.querySelectorAll("form.new-list")) {
    let key = newKey();
    form.addEventListener("input", () => { key = newKey(); });
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button[type=submit]");
      const weighs = form.elements.low_g?.value || form.elements.high_g?.value;
      const body = { purpose: form.dataset.purpose };
      for (const { name, value, type } of form.elements) {
        if (!name || value === "" || (name === "choice" && !weighs)) continue;
        body[name] = type === "number" ? Number(value) : value;
      }
      button.disabled = true;
      trouble.hidden = true;
      const answer = await ask("/v1/pick-lists", body, key);
      button.disabled = false;
      if (answer.ok) return location.assign(`/picks/${answer.body.pick_list_id}`);
      complain(answer.body);
    });
  }

  // A plan is kept under the version that was read, so that a second touch writes nothing twice and nobody's change is lost.
  const plan = $("case-plan");
  plan?.addEventListener("submit", async (event) => {
    event.preventDefault();
    const path = `/v1/places/${encodeURIComponent(plan.dataset.place)}/case-plan`;
    const inputs = Array.from(plan.querySelectorAll("input[data-cut]"));
    const lines = inputs.map((input) => ({ cut_code: input.dataset.cut, trays: Number(input.value) })).filter((line) => line.trays !== 0);
    const button = plan.querySelector("button[type=submit]");
    button.disabled = true;
    trouble.hidden = true;
    const read = plan.dataset.version;
    const answer = await send("PUT", path, { lines }, read ? { "If-Match": `"${read}"` } : { "If-None-Match": "*" });
    button.disabled = false;
    if (answer.ok) return location.assign("/picks");
    const meanwhile = answer.status === 412 || (answer.status === 409 && !read);
    complain(meanwhile ? { detail: "The plan was changed meanwhile, perhaps by this form. Load the page again to see how it is now." } : answer.body);
  });

  const tools = $("pick-tools");
  if (!tools) return;
  const list = tools.dataset.list, form = $("pick"), field = $("code"), answered = $("answer");
  const focus = () => field?.focus({ preventScroll: true });
  $("print").addEventListener("click", () => window.print());
  document.addEventListener("click", (event) => { if (!event.target.closest("a, input, button")) setTimeout(focus, 0); });
  window.addEventListener("focus", focus);

  const redraw = async () => {
    try {
      const page = await fetch(location.href, { credentials: "same-origin", cache: "no-store" });
      if (!page.ok) return;
      const fresh = new DOMParser().parseFromString(await page.text(), "text/html").getElementById("state");
      if (fresh) $("state").replaceWith(fresh);
      if (fresh?.dataset.state !== "open" && form) {
        form.hidden = true;
        document.querySelectorAll(".tools [data-post]").forEach((button) => button.remove());
      }
    } catch {
      // What stands is old; the next answer draws it anew.
    }
  };

  const show = (kind, word, why, over = []) => {
    answered.hidden = false;
    answered.className = "answer verdict " + kind;
    answered.querySelector(".word").textContent = word;
    answered.querySelector(".why").textContent = why;
    answered.querySelector("ul").replaceChildren(...over.map((tray) => {
      const item = document.createElement("li");
      item.textContent = `${grouped(tray.tray_code)}, ${tray.net_weight_g} g, in ${tray.place_code}`;
      return item;
    }));
    answered.querySelector(".row").hidden = kind !== "confirm";
  };

  let pending = null;
  const scan = async (text, substitute, key) => {
    show("busy", "…", text.slice(0, 60));
    trouble.hidden = true;
    const { ok, body } = await ask(`/v1/pick-lists/${list}/scans`, substitute ? { scanned: text, substitute } : { scanned: text }, key);
    pending = null;
    if (!ok) {
      const reasons = (body.errors ?? []).map((error) => error.detail).filter(Boolean);
      show("stop", "Not this one", reasons.length ? reasons.join(". ") : body.detail);
    } else if (body.outcome === "confirm") {
      pending = text;
      const instead = body.replaces_tray_code ? ` instead of ${grouped(body.replaces_tray_code)}` : "";
      show("confirm", "Take this one?", `${grouped(body.tray_code)} would do${instead}. These are older and would do as well:`, body.passes_over);
    } else {
      const word = { picked: "Picked", picked_already: "Picked already", substituted: "Picked instead" }[body.outcome];
      const instead = body.replaces_tray_code ? `, instead of ${grouped(body.replaces_tray_code)}` : "";
      const next = body.pick_list.state === "done" ? "That was the last one." : "";
      show("sell", word, `${grouped(body.tray_code)}${instead}. ${next}`);
    }
    await redraw();
    focus();
  };
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value;
    field.value = "";
    if (text.trim() !== "") scan(text, null, newKey());
  });
  $("take").addEventListener("click", () => { if (pending) scan(pending, "yes", newKey()); });
  $("leave").addEventListener("click", () => { pending = null; answered.hidden = true; focus(); });

  // Filling up and giving up: buttons come and go with what is drawn anew.
  const keys = new Map();
  document.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-post]");
    if (!button) return;
    const what = button.dataset.post;
    const body = button.dataset.keep ? { keep_picked: button.dataset.keep } : {}, keyed = what + JSON.stringify(body);
    if (what === "give-ups" && !button.dataset.keep && !confirm("Give this list up? Its trays are free for others.")) return;
    if (!keys.has(keyed)) keys.set(keyed, newKey());
    button.disabled = true;
    trouble.hidden = true;
    const answer = await ask(`/v1/pick-lists/${list}/${what}`, body, keys.get(keyed));
    button.disabled = false;
    // An answer that was lost is asked for again under the same key; any other ends it.
    if (answer.status !== 0) keys.delete(keyed);
    if (answer.ok && what === "give-ups") return location.assign("/picks");
    if (!answer.ok) complain(answer.body);
    await redraw();
    focus();
  });
  focus();
})();
