// The scan page: what is typed goes to /v1/scans, what is for sale gathers in a sale, "Sold" posts it once, however often it must ask.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const form = $("scan"), field = $("code"), verdict = $("verdict"), basket = $("basket");
  const maySell = form.dataset.sell === "true";
  // `lines` can still be changed. `pending` is a sale that was posted and not definitely answered: its lines, body and key stay as they
  // were posted, so that asking again cannot sell twice, and what is scanned meanwhile is for the next sale.
  let lines = [], pending = null, undoTimer = null;

  const money = (cents) => {
    const { sign, signFirst, decimals, mark } = form.dataset;
    const amount = (cents / 10 ** decimals).toFixed(decimals).replace(".", mark);
    if (signFirst !== "true") return `${amount} ${sign}`;
    return /\p{L}$/u.test(sign) ? `${sign} ${amount}` : sign + amount;
  };
  const price = (tray) => (tray.kind === "tub" ? `${money(tray.price_per_kg_cents)}/kg` : money(tray.price_cents));
  // The shop's own time and a month in letters, whatever the device thinks.
  const when = new Intl.DateTimeFormat("en-GB", { timeZone: form.dataset.zone, weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
  // The field keeps the focus, so that the next scan always lands; a finger on a button may borrow it.
  const focus = () => field.focus({ preventScroll: true });
  document.addEventListener("click", (event) => { if (!event.target.closest("a, input, #weigh")) setTimeout(focus, 0); });
  window.addEventListener("focus", focus);

  const show = (kind, word, why) => {
    verdict.className = "verdict " + kind;
    verdict.querySelector(".word").textContent = word;
    verdict.querySelector(".why").textContent = why;
  };

  const ask = async (path, body, key) => {
    const headers = { "Content-Type": "application/json" };
    if (key) headers["Idempotency-Key"] = key;
    try {
      const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body), credentials: "same-origin" });
      const said = await answer.json();
      if (answer.status !== 401) return { ok: answer.ok, status: answer.status, body: said };
    } catch {
      return { ok: false, status: 0, body: { detail: "The shop's server does not answer. Nothing is lost: try again." } };
    }
    // Leaving the page would lose the key of a sale whose answer was lost.
    if (pending?.lost) return { ok: false, status: 401, body: { detail: "Sign in again in another window, then come back and try again." } };
    pending = null;
    location.assign("/sign-in");
    return { ok: false, status: 401, body: { detail: "Sign in again." } };
  };
  // These refuse before the key is looked up, so they say nothing of what an earlier try has done.
  const definite = ({ ok, status }) => ok || (status >= 400 && status < 500 && ![401, 408, 429].includes(status));
  const sum = (some) => some.reduce((cents, line) => cents + line.cents, 0);

  const draw = () => {
    const posted = pending?.lines ?? [];
    basket.hidden = posted.length + lines.length === 0 || !maySell;
    $("lines").replaceChildren(...[...posted, ...lines].map((line) => {
      const item = document.createElement("li");
      const text = document.createElement("span");
      const locked = posted.includes(line);
      text.textContent = `${line.name}, ${line.grams} g${pending && !locked ? " (next sale)" : ""}`;
      const price = document.createElement("strong");
      price.textContent = money(line.cents);
      item.append(text, price);
      if (locked) return item;
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "Take off";
      away.addEventListener("click", () => { lines = lines.filter((other) => other !== line); draw(); });
      item.append(away);
      return item;
    }));
    $("total").textContent = money(sum(pending ? posted : lines));
  };

  const put = (line) => {
    lines.push(line);
    draw();
    focus();
  };

  // A tub is sold by weight: ask for it in the page, with the focus where the figure goes.
  const weigh = $("weigh"), grams = $("grams");
  let weighed = null;
  weigh.addEventListener("submit", (event) => {
    event.preventDefault();
    const value = Number.parseInt(grams.value, 10);
    if (!weighed || !(value > 0)) return;
    // Shown only; the sale itself reckons and rounds once.
    const cents = Math.floor((weighed.price_per_kg_cents * value + 500) / 1000);
    weigh.hidden = true;
    put({ tray_code: weighed.tray_code, name: weighed.cut_name, grams: value, cents, by_weight: true });
  });
  $("weigh-not").addEventListener("click", () => { weigh.hidden = true; focus(); });

  const add = (tray) => {
    // A tub may be in the pending sale and in the next one too.
    const taken = tray.kind === "tub" ? lines : [...(pending?.lines ?? []), ...lines];
    if (taken.some((line) => line.tray_code === tray.tray_code)) return focus();
    if (tray.kind !== "tub") return put({ tray_code: tray.tray_code, name: tray.cut_name, grams: tray.net_weight_g, cents: tray.price_cents });
    weighed = tray;
    grams.value = "";
    grams.max = tray.net_weight_g;
    $("weigh-text").textContent = `${tray.cut_name}: how many grams out of ${tray.net_weight_g}?`;
    weigh.hidden = false;
    grams.focus();
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = field.value;
    field.value = "";
    if (text.trim() === "") return focus();
    show("busy", "…", text.slice(0, 60));
    const { ok, body } = await ask("/v1/scans", { text });
    if (!ok) {
      show("stop", "Stop", body.detail);
    } else if (body.verdict === "stop") {
      show("stop", "Stop", body.tray.stops.map((stop) => stop.reason).join(". "));
    } else {
      const down = body.verdict === "sell_at_markdown";
      const until = body.tray.life.sell_until ? when.format(new Date(body.tray.life.sell_until)) : "";
      show(down ? "down" : "sell", down ? "Sell, marked down" : "Sell", `${body.tray.cut_name}, ${body.tray.net_weight_g} g, ${price(body.tray)}. Good until ${until}.`);
      if (maySell) return add(body.tray);
    }
    focus();
  });

  $("clear").addEventListener("click", () => { lines = []; draw(); });
  window.addEventListener("beforeunload", (event) => { if (pending) event.preventDefault(); });

  const begin = () => {
    const body = { lines: lines.map((line) => (line.by_weight ? { tray_code: line.tray_code, grams: line.grams } : { tray_code: line.tray_code })) };
    pending = { key: newKey(), lines, body, asking: false, lost: false };
    lines = [];
  };

  $("sell").addEventListener("click", async () => {
    if (pending?.asking || (!pending && lines.length === 0)) return;
    if (!pending) begin();
    const sale = pending;
    sale.asking = true;
    draw();
    const answer = await ask("/v1/sales", sale.body, sale.key);
    sale.asking = false;
    if (!definite(answer)) {
      sale.lost = true;
      return show("stop", "Not sure", `${answer.body.detail} Touch "Sold" again: it cannot sell twice.`);
    }
    pending = null;
    if (!answer.ok) lines = [...sale.lines, ...lines];
    draw();
    if (!answer.ok) {
      const reasons = (answer.body.errors ?? []).map((e) => e.detail);
      return show("stop", "Not sold", reasons.length ? reasons.join(". ") : answer.body.detail);
    }
    show("sold", "Sold", `${answer.body.lines.length} tray(s), ${money(answer.body.total_cents)}. Sale ${answer.body.sale_id}.`);
    offerUndo(answer.body.sale_id);
  });

  const offerUndo = (sale) => {
    const key = newKey();
    $("undo").hidden = false;
    $("undo-text").textContent = `Sale ${sale} is booked.`;
    $("undo-button").onclick = async () => {
      const answer = await ask(`/v1/sales/${sale}/reversal`, { reason: "mis-scan" }, key);
      show(answer.ok ? "busy" : "stop", answer.ok ? "Put back" : "Not put back", answer.ok ? `Sale ${sale} is reversed.` : answer.body.detail);
      if (answer.ok) $("undo").hidden = true;
    };
    clearTimeout(undoTimer);
    undoTimer = setTimeout(() => { $("undo").hidden = true; }, 5 * 60 * 1000);
  };

  focus();
})();
