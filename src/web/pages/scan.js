// The scan page: what is typed goes to /v1/scans, what is for sale gathers in a sale, "Sold" posts it once.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const form = $("scan"), field = $("code"), verdict = $("verdict"), basket = $("basket");
  const maySell = form.dataset.sell === "true";
  let lines = [], saleKey = null, undoTimer = null;

  const money = (cents) => {
    const amount = (cents / 100).toFixed(2), sign = form.dataset.sign;
    return form.dataset.signFirst === "true" ? sign + amount : amount + " " + sign;
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
    let answer;
    try {
      answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body), credentials: "same-origin" });
    } catch {
      return { ok: false, body: { code: "no_answer", detail: "The shop's server does not answer. Nothing is lost: try again." } };
    }
    if (answer.status === 401) { location.assign("/sign-in"); return { ok: false, body: { detail: "Sign in again." } }; }
    return { ok: answer.ok, body: await answer.json().catch(() => ({ detail: "The answer cannot be read." })) };
  };

  const draw = () => {
    basket.hidden = lines.length === 0 || !maySell;
    const list = $("lines");
    list.replaceChildren(...lines.map((line, index) => {
      const item = document.createElement("li");
      const text = document.createElement("span");
      text.textContent = `${line.name}, ${line.grams} g`;
      const price = document.createElement("strong");
      price.textContent = money(line.cents);
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "Take off";
      away.addEventListener("click", () => { lines.splice(index, 1); saleKey = null; draw(); });
      item.append(text, price, away);
      return item;
    }));
    $("total").textContent = money(lines.reduce((sum, line) => sum + line.cents, 0));
  };

  const put = (line) => {
    lines.push(line);
    saleKey = null;
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
    if (lines.some((line) => line.tray_code === tray.tray_code)) return focus();
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

  $("clear").addEventListener("click", () => { lines = []; saleKey = null; draw(); });

  $("sell").addEventListener("click", async () => {
    if (lines.length === 0) return;
    // The key stays with this very sale until it is answered, so that a second touch cannot sell twice.
    saleKey = saleKey ?? newKey();
    const body = { lines: lines.map((line) => (line.by_weight ? { tray_code: line.tray_code, grams: line.grams } : { tray_code: line.tray_code })) };
    const answer = await ask("/v1/sales", body, saleKey);
    if (!answer.ok) {
      const reasons = (answer.body.errors ?? []).map((e) => e.detail);
      return show("stop", "Not sold", reasons.length ? reasons.join(". ") : answer.body.detail);
    }
    show("sold", "Sold", `${answer.body.lines.length} tray(s), ${money(answer.body.total_cents)}. Sale ${answer.body.sale_id}.`);
    lines = []; saleKey = null;
    draw();
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
