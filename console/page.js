"use strict";
// The page of an agent. It asks /api/v1 of where it comes from, and nothing else; what a
// person does goes there, and what happens comes from /api/v1/events.
(() => {
  const $ = (id) => document.getElementById(id);
  // typed has a browser leave alone what a person types.
  const typed = { autocomplete: "off", autocapitalize: "off", spellcheck: false };
  document.querySelectorAll("input").forEach((e) => Object.assign(e, typed));
  // el makes an element: properties, listeners (onclick) and attributes (with a dash, or "role").
  const el = (tag, props = {}, ...kids) => {
    const e = Object.assign(document.createElement(tag), tag === "input" ? typed : null);
    for (const [k, v] of Object.entries(props)) {
      if (k.includes("-") || k === "role" || k === "scope" || k === "for") e.setAttribute(k, v);
      else e[k] = v;
    }
    return fill(e, ...kids);
  };
  const fill = (e, ...kids) => { e.replaceChildren(...kids.flat().filter((k) => k !== null && k !== undefined && k !== "")); return e; };

  // ---- Words and numbers, as the reader's locale has them.
  const number = (v, digits) => v === null || v === undefined ? "–" : new Intl.NumberFormat(undefined, { minimumFractionDigits: digits, maximumFractionDigits: digits }).format(v);
  const plain = (v) => new Intl.NumberFormat(undefined, { maximumSignificantDigits: 6, useGrouping: false }).format(v);
  const time = (t, seconds) => new Intl.DateTimeFormat(undefined, { hour: "2-digit", minute: "2-digit", second: seconds ? "2-digit" : undefined }).format(new Date(t));
  const count = (n, one, many = one + "s") => `${number(n, 0)} ${n === 1 ? one : many}`;
  const span = (s) => {
    const t = Math.max(0, Math.floor(s));
    const two = (n) => String(n).padStart(2, "0");
    return t >= 3600 ? `${Math.floor(t / 3600)}:${two(Math.floor(t / 60) % 60)}:${two(t % 60)}` : `${Math.floor(t / 60)}:${two(t % 60)}`;
  };
  const ago = (s) => s < 1 ? "just read" : s < 90 ? `${number(Math.round(s), 0)} s old` : `${number(Math.round(s / 60), 0)} min old`;
  const settingText = (s) => !s || (s.watts === null && !s.name) ? "unknown setting" : s.watts === null ? s.name : `${plain(s.watts)} W`;
  const settingTyped = (s) => !s || (s.watts === null && !s.name) ? "" : s.watts === null ? s.name : `${s.watts}W`;
  const variantText = (v) => Object.entries(v || {}).map(([k, x]) => `${k}=${x}`).join(", ");
  // ourWords leaves out what only a terminal can do.
  const ourWords = (text) => text.split("; ").filter((part) => !part.includes("sweepd ")).join("; ");
  const cellText = (c) => [settingText(c.setting), c.supply, variantText(c.variant)].filter(Boolean).join(" · ");
  const resultText = (name, r) => `${name} ${plain(r.value)}${r.unit ? " " + r.unit : ""}`;
  const results = (r) => Object.entries(r.results || {});

  // readNumber takes a decimal point or comma; what may mean two numbers it asks back.
  const readNumber = (text) => {
    const t = text.trim().replace(/[\s  ]/g, "");
    if (/^[-+]?\d{1,3},\d{3}$/.test(t) && !/^[-+]?0,/.test(t)) throw new Error(`${text} may be ${t.replace(",", ".")} or ${t.replace(",", "")}: write it without the comma`);
    if (!/^[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?$/.test(t)) throw new Error(`${text || "nothing"} is no number`);
    return Number(t.replace(",", "."));
  };
  const readVariant = (text) => {
    const v = {};
    for (const pair of text.split(/[,\s]+/).filter(Boolean)) {
      const at = pair.indexOf("=");
      if (at < 1) throw new Error(`${pair}: write what was changed as key=value, such as cores=6`);
      v[pair.slice(0, at)] = pair.slice(at + 1);
    }
    return v;
  };

  // ---- Asking the agent.
  const pause = (ms) => new Promise((r) => setTimeout(r, ms));
  // key is one that no other request has; crypto.randomUUID is missing on plain HTTP.
  const key = () => `"${Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("")}"`;

  async function ask(method, path, body) {
    const r = await fetch("/api/v1" + path, {
      method, headers: body === undefined ? {} : { "Content-Type": "application/json" }, body: body === undefined ? undefined : JSON.stringify(body),
      signal: AbortSignal.timeout(30000),
    });
    return answer(r);
  }
  async function answer(r) {
    if (r.status === 401) { location.replace("/"); }
    if (r.ok) return r.status === 204 ? null : r.json();
    const problem = await r.json().catch(() => ({ detail: `the agent answers with status ${r.status}` }));
    throw Object.assign(new Error(problem.detail), { problem });
  }
  // once asks again, over a bad network, until there is an answer: by its key nothing is done twice.
  async function once(path, body) {
    const k = key();
    for (let tries = 0; ; tries++) {
      try {
        const r = await fetch("/api/v1" + path, { method: "POST", headers: { "Content-Type": "application/json", "Idempotency-Key": k }, body: JSON.stringify(body), signal: AbortSignal.timeout(10000) });
        return await answer(r);
      } catch (e) {
        const busy = e.problem && e.problem.kind === "in_progress";
        if (e.problem && !busy || tries >= 30) throw e;
        if (!busy) say("No answer yet; asking again …");
        await pause(1000);
      }
    }
  }

  // ---- What was done, and its undoing.
  function say(text, undo) {
    const bar = el("div", {}, el("span", {}, text), el("div", { className: "acts" }, undo ? el("button", { onclick: () => act(undo.text, undo.back) }, undo.label || "Undo") : null,
      el("button", { "aria-label": "Dismiss", onclick: () => fill($("said")) }, "✕")));
    fill($("said"), bar);
    if ($("sheet").open) $("sheet-said").textContent = text;
    const leave = () => { if (bar.isConnected) bar.contains(document.activeElement) ? setTimeout(leave, 5000) : fill($("said")); };
    setTimeout(leave, 30000);
  }
  // act does something, says what, and offers what takes it back: do gives { text, back }.
  async function act(failed, work) {
    try {
      const done = await work();
      if (done) say(done.text, done.back && { text: failed, back: done.back, label: done.label });
    } catch (e) {
      if (e.problem && e.problem.kind === "no_right") say("To change what is kept, this browser has to be paired", { label: "Pair it", text: failed, back: async () => { location.assign("/pair"); } });
      else say(e.problem ? e.message : e.name === "TypeError" || e.name === "TimeoutError" ? `${failed}: the device cannot be reached` : e.message);
    }
    refresh();
  }

  // ---- State.
  let glance = null, glanceAt = 0; // performance.now() when it came
  let lost = false, heard = performance.now(), lastID = "", source = null;
  let plan = null, next = null, start = null, runs = [], course = [], fit = null, wasFit = null;
  let after = null; // the run that ended last, here or elsewhere, and whose result is asked for
  let busy = false, mine = "";
  const since = () => (performance.now() - glanceAt) / 1000;

  // ---- The stream of events. It is opened anew where nothing was heard for a while.
  const silence = 2600;
  function listen() {
    if (source) source.close();
    heard = performance.now();
    const s = new EventSource("/api/v1/events" + (lastID ? "?after=" + encodeURIComponent(lastID) : ""));
    source = s;
    const on = (kind, f) => s.addEventListener(kind, (m) => {
      if (s !== source) return;
      heard = performance.now();
      if (m.lastEventId) lastID = m.lastEventId;
      f(JSON.parse(m.data));
      found();
    });
    on("begin", (b) => { loadCourse(); if (!b.complete) refresh(); });
    on("event", happened);
    on("glance", (g) => { glance = g; glanceAt = performance.now(); addPoint(g); draw(); });
    on("beat", () => {});
  }
  function found() {
    if (!lost) return;
    lost = false;
    $("lost").hidden = true;
    alarm("gone", "The device answers again", true);
  }
  let askedAt = 0;
  function watchdog() {
    const silent = performance.now() - heard;
    if (silent > silence && !lost) {
      lost = true;
      $("lost").hidden = false;
      $("lost").textContent = `No connection since ${time(Date.now() - silent, true)}. What is shown is as it was then; trying again …`;
      alarm("gone", "The device does not answer");
      askedAt = 0;
    }
    if (lost && performance.now() - askedAt > 2000) {
      askedAt = performance.now();
      const before = heard;
      listen();
      heard = before;
      fetch("/api/v1/status", { signal: AbortSignal.timeout(1900) }).then((r) => { if (r.status === 401) location.replace("/"); }, () => {});
    }
  }

  // happened takes in an event.
  function happened(e) {
    if (e.kind === "supply") alarm("supply", `The supply is ${e.supply} now`);
    if (e.kind === "run ended") {
      if (e.run.id !== mine) {
        after = e.run;
        alarm("ended", `The run of ${e.run.workload} ended (${e.run.state})`);
      }
      reportIsOld = true;
    }
    if (e.run && after && e.run.id === after.id) after = e.run;
    refresh();
  }

  // ---- Reading what is kept. Several wishes at once are one.
  let wanted = 0, loaded = false;
  async function refresh() {
    if (++wanted > 1) return;
    do {
      wanted = 1;
      await Promise.all([
        ask("GET", `/runs?last=${Math.min(500, Math.max(60, plan ? plan.slots.length + 40 : 0))}`).then((x) => { runs = x.reverse(); }).catch(() => {}),
        ask("GET", "/standing").then(async (x) => {
          drawLook(x.doubts || []);
          next = x.next;
          [plan, start] = await Promise.all([next && ask("GET", "/plan"), next && next.next && ask("GET", "/plan/next/start").then((s) => s.start)]);
        }).catch(() => {}),
      ]);
      await checkFit();
    } while (wanted > 1);
    wanted = 0;
    loaded = true;
    drawAll();
  }
  async function checkFit() {
    if (glance && glance.recording) return;
    const q = new URLSearchParams();
    if (start && next && next.next && !freely()) {
      if (next.next.supply) q.set("supply", next.next.supply);
      if (start.setting) q.set("setting", start.setting);
      q.set("workload", start.workload);
      for (const [k, v] of Object.entries(start.variant || {})) q.append("variant", `${k}=${v}`);
    }
    await ask("GET", "/ready?" + q).then((x) => { fit = x; }).catch(() => { fit = null; });
    if (!fit) return;
    if (fit.fit && wasFit === false) alarm("fit", "The device is fit to start a run");
    wasFit = fit.fit;
  }

  // ---- Course of the last minutes.
  const courseS = 300;
  async function loadCourse() {
    try {
      const c = await ask("GET", "/course?minutes=5");
      const loaded = (c.points || []).map((p) => ({ t: Date.parse(p.at), discharge: p.discharge_watts, package: p.package_watts, celsius: p.celsius }));
      const last = loaded.length ? loaded[loaded.length - 1].t : 0;
      course = loaded.concat(course.filter((p) => p.t > last));
      drawCourses();
    } catch { /* it comes with the next connection */ }
  }
  function addPoint(g) {
    const t = Date.parse(g.at);
    if (course.length && course[course.length - 1].t >= t) return;
    course.push({ t, discharge: g.discharge_watts.value, package: g.package_watts.value, celsius: g.temperatures.length ? g.temperatures[0].value : null });
    while (course.length && course[0].t < t - courseS * 1000) course.shift();
  }
  // drawCourse draws one quantity; a pause in the sweeps is a gap.
  function drawCourse(row, what, zero, unit) {
    const to = glance ? Date.parse(glance.now) + since() * 1000 : Date.now();
    const points = course.filter((p) => p[what] !== null && p[what] !== undefined && p.t > to - courseS * 1000);
    if (points.length < 2) { row.svg.setAttribute("hidden", ""); row.spanned = ""; return; }
    row.svg.removeAttribute("hidden");
    const values = points.map((p) => p[what]);
    const low = Math.min(...values), high = Math.max(...values);
    const from = zero ? Math.min(0, low) : low - 1, over = Math.max(high - from, zero ? 1 : 2);
    let line = "", under = "", pieces = [];
    for (const p of points) {
      const x = 300 * (1 - (to - p.t) / (courseS * 1000)), y = 39 - 36 * (p[what] - from) / over;
      if (!pieces.length || p.t - pieces.at(-1).t > 25000) pieces.push({ at: [] });
      pieces.at(-1).at.push(`${x.toFixed(1)},${y.toFixed(1)}`);
      pieces.at(-1).t = p.t;
      pieces.at(-1).x ??= x.toFixed(1);
      pieces.at(-1).end = x.toFixed(1);
    }
    for (const p of pieces) {
      line += "M" + p.at.join("L");
      under += `M${p.x},40L${p.at.join("L")}L${p.end},40Z`;
    }
    row.line.setAttribute("d", line);
    row.under.setAttribute("d", under);
    row.spanned = `${number(low, 1)} to ${number(high, 1)} ${unit}`;
    row.svg.setAttribute("aria-label", `last 5 minutes: ${number(low, 1)} to ${number(high, 1)} ${unit}`);
  }

  // ---- Now.
  const rows = {};
  const space = "http://www.w3.org/2000/svg";
  const svg = (tag, attributes) => {
    const e = document.createElementNS(space, tag);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    return e;
  };
  for (const [name, label] of [["discharge", "The battery gives"], ["package", "Package"], ["celsius", "Hottest"], ["charge", "Charge"]]) {
    const row = rows[name] = { value: el("dd", { className: "much" }), age: el("div", { className: "age" }), spanned: "", aged: null };
    row.svg = svg("svg", { class: "course", viewBox: "0 0 300 40", preserveAspectRatio: "none", role: "img", hidden: "" });
    row.under = row.svg.appendChild(svg("path", { class: "under" }));
    row.line = row.svg.appendChild(svg("path", {}));
    const dt = el("dt", {}, label, row.age);
    row.label = dt.firstChild;
    $("values").append(el("div", {}, dt, row.value, name === "charge" ? null : el("dd", { className: "went" }, row.svg)));
  }
  function set(row, label, value, unit, aged) {
    if (row.label.data !== label) row.label.data = label;
    fill(row.value, value, el("small", {}, " " + unit));
    row.aged = aged;
  }
  function drawCourses() {
    drawCourse(rows.discharge, "discharge", true, "W");
    drawCourse(rows.package, "package", true, "W");
    drawCourse(rows.celsius, "celsius", false, "°C");
  }
  function drawNow() {
    const g = glance;
    const w = g.discharge_watts.value;
    set(rows.discharge, w !== null && w < -0.05 ? "The battery takes" : "The battery gives", number(w === null ? null : Math.abs(w), 1), "W", g.discharge_watts);
    set(rows.package, "Package", number(g.package_watts.value, 1), "W", g.package_watts);
    set(rows.charge, `Charge, on ${g.supply || "unknown supply"}`, number(g.charge_ratio.value === null ? null : g.charge_ratio.value * 100, 0), "%", g.charge_ratio);
    const hot = g.temperatures[0];
    set(rows.celsius, hot ? `Hottest: ${hot.name}` : "Temperature", number(hot ? hot.value : null, 1), "°C", hot || null);
    const others = g.temperatures.slice(1).map((x) => `${x.name} ${number(x.value, 1)} °C`).join(", ");
    if ($("others").textContent !== others) $("others").textContent = others;
    drawCourses();
    const missing = g.missing || [];
    $("missing").hidden = !missing.length;
    if (missing.length) {
      $("missing").firstChild.textContent = `${count(missing.length, "sensor has", "sensors have")} no value`;
      fill($("missing").lastChild, missing.map((m) => el("li", {}, m)));
    }
    const read = g.setting_read, differs = read && settingTyped(read) !== settingTyped(g.setting);
    fill($("setting"), settingText(g.setting), " ", el("small", {}, g.setting.source === "declared" ? "declared" : g.setting.source ? "read from the system" : "",
      differs ? `; the system reports ${settingText(read)}` : ""));
    for (const b of $("steps").children) b.setAttribute("aria-pressed", String(b.dataset.setting === settingTyped(g.setting) && g.setting.source === "declared"));
    lookOut(g);
  }
  let drawnSteps = "";
  function drawSteps() {
    const seen = new Map();
    const add = (s) => { const t = settingTyped(s); if (t && !seen.has(t)) seen.set(t, s); };
    const byWatts = (a, b) => (a.setting.watts ?? 1e9) - (b.setting.watts ?? 1e9);
    if (plan) [...plan.slots].filter((s) => !glance || s.device === glance.device).sort(byWatts).forEach((s) => add(s.setting));
    for (const r of runs) if (seen.size < 12) add(r.setting);
    const text = [...seen.keys()].join() + (glance && glance.setting.source === "declared");
    if (text === drawnSteps) return;
    drawnSteps = text;
    fill($("steps"), [...seen].map(([t, s]) => el("button", { onclick: () => declare(t), "data-setting": t, "aria-pressed": "false" }, settingText(s))),
      glance && glance.setting.source === "declared" ? el("button", { onclick: () => declare("") }, "As the system reports") : null);
    if (glance) drawNow();
  }
  const declare = (text) => act("The setting was not declared", async () => {
    const before = glance && glance.setting.source === "declared" ? settingTyped(glance.setting) : "";
    const s = await ask("POST", "/setting", { setting: text, by: "the page" });
    const now = text ? `${settingText(s.setting)} is declared` : "Nothing is declared; the system's setting counts";
    return { text: now, back: before === text ? null : async () => { await ask("POST", "/setting", { setting: before, by: "the page" }); return { text: before ? `${before} is declared again` : "The declaration is taken back" }; } };
  });
  $("declare").addEventListener("submit", (e) => {
    e.preventDefault();
    const text = $("declared").value.trim();
    if (text) declare(text).then(() => { $("declared").value = ""; });
  });

  // ---- Run.
  const freely = () => $("other").open && $("workload").value.trim() !== "";
  const minutes = () => {
    const text = $("minutes").value.trim();
    if (!text) return 0;
    const m = readNumber(text);
    if (!(m > 0)) throw new Error("Minutes are more than 0; leave them empty to stop by hand");
    return m * 60;
  };
  // A second tap in the place of Start would be a Stop: neither counts at once after the other.
  let turned = 0;
  const tooSoon = () => performance.now() - turned < 1000;
  function turn(recording) {
    turned = performance.now();
    const left = document.activeElement === $("start") || document.activeElement === $("stop");
    drawRun();
    if (left) $(recording ? "cell" : "idle").focus();
  }
  function drawRun() {
    const r = glance && glance.recording;
    $("idle").hidden = !!r;
    $("running").hidden = $("stop").hidden = $("set-timer").hidden = !r;
    $("start").hidden = !!r;
    if (r) {
      fill($("cell"), el("strong", {}, r.workload), cellText(r));
      fill($("stop"), "Stop");
      drawElapsed();
    } else {
      drawNext();
      const what = freely() ? $("workload").value.trim() : start ? `${start.workload}, ${start.setting || settingText(glance && glance.setting)}` : "";
      fill($("start"), "Start", el("small", {}, what));
      $("start").setAttribute("aria-disabled", String(busy));
      drawFit();
    }
    drawAfter();
  }
  function drawElapsed() {
    const r = glance && glance.recording;
    if (!r) return;
    const t = since();
    const text = span(r.elapsed_s + t);
    if ($("elapsed").textContent !== text) $("elapsed").textContent = text;
    $("stops").textContent = r.stops_in_s === null ? "" : `stops by itself in ${span(r.stops_in_s - t)}`;
  }
  function drawNext() {
    const n = next && next.next;
    if (!loaded) {
      fill($("next"));
    } else if (!next) {
      fill($("next"), el("p", {}, "No plan is in force. Open “Something else”, or make a plan with ", el("code", {}, "sweepd plan new"), "."));
      $("other").open ||= !runs.length;
    } else if (!n) {
      fill($("next"), el("p", {}, el("strong", {}, "The plan is done")));
    } else {
      const changes = next.changes || [];
      fill($("next"), el("p", {}, el("small", {}, `Next in the plan, ${number(next.left, 0)} left`), el("strong", {}, n.workload), cellText(n)),
        changes.length ? el("ol", { "aria-label": "To change by hand" }, changes.map((c) => el("li", {}, c))) : el("p", { className: "quiet" }, "Nothing to change by hand."));
    }
    const names = [...new Set([...(plan ? plan.slots.map((s) => s.workload) : []), ...runs.map((r) => r.workload)])];
    if ($("workloads").children.length !== names.length) fill($("workloads"), names.map((w) => el("option", { value: w })));
  }
  function drawFit() {
    if (!fit) { fill($("fit")); return; }
    const reasons = fit.reasons || [];
    if (fit.fit) { fill($("fit"), "✓ Fit to start"); return; }
    fill($("fit"), reasons.map((r) => el("div", { className: "finding doubt" }, el("b", {}, r.by_hand ? "Not fit to start" : "Wait before starting"), r.text, r.expected_s ? `; about ${span(r.expected_s)} to go` : "")));
  }
  $("other").addEventListener("toggle", () => drawRun());
  $("workload").addEventListener("input", () => drawRun());
  $("free").addEventListener("submit", (e) => e.preventDefault());

  $("start").addEventListener("click", () => act("The run was not started", async () => {
    if (busy || tooSoon()) return null;
    busy = true;
    drawRun();
    try {
      const q = freely()
        ? { workload: $("workload").value.trim(), setting: $("run-setting").value.trim(), variant: readVariant($("variant").value), note: $("note").value.trim() }
        : start && { ...start };
      if (!q) { $("other").open = true; $("workload").focus(); throw new Error("Say which workload: there is no plan"); }
      if (freely() && !await sure(q.workload)) return null;
      const s = minutes();
      const r = await once("/runs/start", { ...q, by: "the page", ...(s ? { stop_after_s: s } : {}) });
      after = null;
      return { text: `${r.workload} is recording`, label: "Undo", back: async () => {
        await once("/runs/stop", { run: r.id, if_recording: true, by: "the page" });
        await ask("POST", `/runs/${r.id}/reject`, { why: "started by mistake" });
        return { text: "The run was stopped, and is rejected" };
      } };
    } finally {
      busy = false;
    }
  }));
  // sure asks back where a name is new and close to one that is known.
  async function sure(workload) {
    const a = await ask("POST", "/names", { workloads: [workload] });
    const d = (a.doubts || [])[0];
    if (!d) return true;
    return new Promise((done) => {
      const close = (use) => { $("sheet").close(); if (use) $("workload").value = use; done(!use); };
      sheet(`“${workload}” is new`, el("p", {}, `Did you mean “${d.near}”, which is known?`),
        el("div", { className: "buttons" }, el("button", { className: "go", onclick: () => close(d.near) }, `Use ${d.near}`), el("button", { onclick: () => close("") }, `${workload} is right`)));
      $("sheet").addEventListener("close", () => done(false), { once: true });
    });
  }
  $("stop").addEventListener("click", () => {
    const r = glance && glance.recording;
    if (!r || tooSoon()) return;
    mine = r.id;
    act("The run was not stopped", async () => {
      try {
        after = await once("/runs/stop", { run: r.id, if_recording: true, by: "the page" });
      } catch (e) {
        mine = "";
        if (!e.problem || !e.problem.ended) throw e;
        after = e.problem.ended;
        return { text: e.message };
      }
      $("minutes").value = "";
      return { text: `Stopped after ${span(after.duration_s)}`, label: "By mistake", back: async () => {
        const old = after;
        await ask("POST", `/runs/${old.id}/reject`, { why: "stopped by mistake" });
        const again = await once("/runs/start", { workload: old.workload, setting: settingTyped(old.setting), variant: old.variant, note: old.note, by: "the page" });
        after = null;
        return { text: `That run is rejected; ${again.workload} is recording anew` };
      } };
    });
  });
  $("timer").addEventListener("submit", (e) => {
    e.preventDefault();
    const r = glance && glance.recording;
    if (!r) return;
    act("The time was not set", async () => {
      const s = minutes();
      const before = r.stops_in_s === null ? 0 : r.elapsed_s + r.stops_in_s;
      await ask("POST", `/runs/${r.id}/stop_after`, { after_s: s });
      return { text: s ? `It stops ${span(s)} after its start` : "It is stopped by hand", back: async () => { await ask("POST", `/runs/${r.id}/stop_after`, { after_s: before }); return { text: "As before" }; } };
    });
  });

  // ---- After a run: its result, and what is found about it.
  // What is being typed stays, whatever else becomes of the run meanwhile.
  let drawnAfter = "", typing = "";
  $("after").addEventListener("input", () => { typing = after ? after.id : ""; });
  function drawAfter() {
    const text = after ? JSON.stringify(after) : "";
    if (text === drawnAfter || after && typing === after.id) return;
    drawnAfter = text;
    typing = "";
    if (!after) { fill($("after")); return; }
    const r = after;
    fill($("after"), el("div", { className: "panel" }, el("h3", {}, `${r.workload}, ${cellText(r)}`), el("p", {}, stateText(r)), resultForm(r), findings(r),
      el("div", { className: "buttons" }, el("button", { onclick: () => { after = null; drawAfter(); } }, "Done"))));
  }
  const stateText = (r) => r.state === "recording" ? "recording" : `${r.state}${r.why ? ": " + r.why : ""}, ${r.duration_s === null ? "no time known" : span(r.duration_s)} from ${time(r.started_at)}`;
  // metrics are the results that runs of a workload have had, the newest first.
  function metrics(workload) {
    const seen = new Map();
    for (const r of runs) if (r.workload === workload) for (const [name, x] of results(r)) if (!seen.has(name)) seen.set(name, x);
    return seen;
  }
  let fields = 0;
  function resultForm(r) {
    const known = metrics(r.workload);
    for (const [name, x] of results(r)) known.set(name, x);
    const form = el("form", {});
    const inputs = [];
    for (const [name, x] of known) {
      const id = "f" + ++fields, has = r.results && r.results[name];
      const input = el("input", { id, inputMode: "decimal", value: has ? plain(has.value) : "" });
      inputs.push({ name: () => name, unit: () => x.unit, better: x.better, input, had: has });
      form.append(el("label", { for: id }, name, x.unit ? ` (${x.unit})` : ""), input);
    }
    if (!known.size) {
      const id = "f" + ++fields;
      const name = el("input", { id, placeholder: "fps_mean" });
      const value = el("input", { id: id + "v", inputMode: "decimal" });
      const unit = el("input", { id: id + "u", placeholder: "fps" });
      inputs.push({ name: () => name.value.trim(), unit: () => unit.value.trim(), better: undefined, input: value });
      form.append(el("label", { for: id }, "Result, by name"), name, el("label", { for: id + "v" }, "Value"), value, el("label", { for: id + "u" }, "Unit"), unit);
    }
    form.append(el("div", { className: "buttons" }, el("button", { className: "go" }, "Save the result")));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      act("The result was not saved", async () => {
        const list = {}, old = {}, removed = [];
        for (const f of inputs) {
          const text = f.input.value.trim();
          if (!text && f.had) removed.push(f.name());
          if (!text || f.had && text === plain(f.had.value)) continue;
          if (!f.name()) throw new Error("Say what the result is called");
          list[f.name()] = { value: readNumber(text), unit: f.unit(), ...(f.better ? { better: f.better } : {}) };
          old[f.name()] = f.had;
        }
        const names = Object.keys(list);
        if (!names.length && removed.length) {
          const a = await ask("POST", "/runs/correct", { runs: [r.id], filter: {}, set: { remove_result: removed }, why: "", who: "the page" });
          if ($("sheet").open) $("sheet").close();
          return { text: `Removed: ${removed.join(", ")}`, back: () => takeBack(a.id) };
        }
        if (!names.length) throw new Error("There is no new value to save");
        const d = await ask("POST", `/runs/${r.id}/results`, { results: list });
        typing = "";
        if ($("sheet").open) $("sheet").close();
        if (after && after.id === d.id) after = (d.findings || []).some((f) => f.severity !== "note") ? d : null;
        return { text: "Saved: " + names.map((n) => resultText(n, d.results[n])).join(", "), back: async () => {
          const put = Object.fromEntries(names.filter((n) => old[n]).map((n) => [n, { value: old[n].value, unit: old[n].unit, better: old[n].better }]));
          const gone = names.filter((n) => !old[n]);
          if (Object.keys(put).length) await ask("POST", `/runs/${r.id}/results`, { results: put });
          if (gone.length) await ask("POST", "/runs/correct", { runs: [r.id], filter: {}, set: { remove_result: gone }, why: "typed by mistake", who: "the page" });
          after = await ask("GET", `/runs/${r.id}`);
          return { text: "As before" };
        } };
      });
    });
    return form;
  }
  function findings(r) {
    const list = (r.findings || []).filter((f) => f.code !== "result_missing");
    const why = el("input", { id: "w" + ++fields, placeholder: r.state === "rejected" ? "why it counts after all" : "why it does not count" });
    const decide = (what) => act("Nothing was decided", async () => {
      const reason = why.value.trim();
      if (!reason) { why.focus(); throw new Error("Say why, in a few words"); }
      typing = "";
      const d = await ask("POST", `/runs/${r.id}/${what}`, { why: reason });
      if (after && after.id === d.id) after = d;
      if ($("sheet").open) $("sheet").close();
      const undo = what === "keep" ? ["unkeep", ""] : ["keep", "rejected by mistake"];
      return { text: what === "keep" ? "It counts" : "It is rejected, and kept", back: async () => {
        const d = await ask("POST", `/runs/${r.id}/${undo[0]}`, { why: undo[1] });
        if (after && after.id === d.id) after = d;
        return { text: "As before" };
      } };
    });
    const mayKeep = r.state === "rejected" || r.state === "interrupted";
    return el("div", {}, list.map((f) => el("div", { className: "finding " + f.severity }, el("b", {}, { note: "Note", doubt: "Doubt", reject: "Rejected for" }[f.severity]), ourWords(f.text + (f.advice ? "; " + f.advice : "")))),
      el("label", { for: why.id }, mayKeep ? "Keep it? Why" : "Reject it? Why"), why,
      el("div", { className: "buttons" }, mayKeep ? el("button", { onclick: () => decide("keep") }, "Keep") : null, r.state !== "rejected" ? el("button", { onclick: () => decide("reject") }, "Reject") : null));
  }

  // ---- Day.
  const marks = { done: "✓", doubtful: "?", repeat: "✗", open: "○", recording: "●" };
  const markWords = { done: "done", doubtful: "doubtful", repeat: "to repeat", open: "missing", recording: "recording" };
  let drawnDay = "";
  function drawDay() {
    const text = JSON.stringify([loaded, plan, runs, glance && glance.device]);
    if (text === drawnDay) return;
    drawnDay = text;
    fill($("plan"));
    if (!plan) fill($("progress"), loaded ? "No plan is in force." : "");
    else {
      fill($("progress"), `${number(plan.done, 0)} of ${number(plan.done + plan.left, 0)} done`,
        plan.left ? `; ends about ${time(plan.expected_end)}` : "", plan.repeat ? `; ${number(plan.repeat, 0)} to repeat` : "");
      const of = Object.fromEntries(runs.map((r) => [r.id, r]));
      const tables = new Map();
      for (const s of plan.slots) {
        const name = [s.workload, s.supply && `on ${s.supply}`, glance && s.device !== glance.device && `on ${s.device}`].filter(Boolean).join(", ");
        const row = [settingText(s.setting), variantText(s.variant)].filter(Boolean).join(" · ");
        if (!tables.has(name)) tables.set(name, new Map());
        const cells = tables.get(name);
        if (!cells.has(row)) cells.set(row, { watts: s.setting.watts ?? 1e9, slots: [], at: false });
        const r = of[s.run];
        cells.get(row).slots.push(s.state === "done" && r && (r.findings || []).some((f) => f.severity === "doubt") ? "doubtful" : s.state);
        if (s.position === plan.next) cells.get(row).at = true;
      }
      for (const [name, cells] of tables) {
        $("plan").append(el("table", {}, el("caption", {}, name), el("tbody", {}, [...cells].sort((a, b) => a[1].watts - b[1].watts).map(([row, c]) => {
          const n = {};
          for (const s of c.slots) n[s] = (n[s] || 0) + 1;
          const words = Object.keys(n).map((s) => `${n[s]} ${markWords[s]}`).join(", ");
          return el("tr", { className: c.at ? "at" : "" }, el("th", { scope: "row" }, row, c.at ? " ← next" : ""),
            el("td", {}, el("small", {}, words), el("span", { className: "marks", "aria-hidden": "true" }, c.slots.map((s) => marks[s]).join(""))));
        }))));
      }
    }
    fill($("runs"), runs.slice(0, 30).map((r) => {
      const [name, x] = results(r)[0] || [];
      const worst = (r.findings || []).find((f) => f.severity === "reject") || (r.findings || []).find((f) => f.severity === "doubt");
      return el("li", {}, el("button", { onclick: () => openRun(r.id) }, el("span", { className: "when" }, time(r.started_at)), el("span", {}, el("b", {}, r.workload), ` ${cellText(r)}`),
        el("span", { className: "result" }, x ? `${plain(x.value)} ${x.unit}` : ""),
        r.state !== "finished" || worst ? el("small", { className: "state" }, [r.state !== "finished" && r.state, worst && worst.text].filter(Boolean).join(": ")) : null));
    }));
    if (!runs.length) fill($("runs"), el("li", {}, "No runs yet."));
  }
  function drawLook(doubts) {
    const list = doubts.filter((d) => d.severity !== "note");
    fill($("look"), list.length ? el("h3", {}, "Needs a look") : null,
      list.map((d) => el("div", { className: "finding " + d.severity }, el("b", {}, count(d.runs, "run") + ((d.settings || []).length ? `, at ${d.settings.join(", ")}` : "")), ourWords(d.example))));
  }
  function sheet(title, ...kids) {
    fill($("sheet"), el("h3", { id: "sheet-h", tabIndex: -1, autofocus: true }, title), ...kids, el("p", { id: "sheet-said", role: "status" }));
    if (!$("sheet").open) $("sheet").showModal();
  }
  const openRun = (id) => act("The run cannot be shown", async () => {
    const r = await ask("GET", `/runs/${id}`);
    const id0 = "c" + ++fields;
    const field = (name, label, value) => [el("label", { for: id0 + name }, label), el("input", { id: id0 + name, value })];
    const supply = el("select", { id: id0 + "supply" }, ["mains", "battery", "unknown"].map((s) => el("option", { value: s, selected: s === (r.supply || "unknown") }, s)));
    const had = { workload: r.workload, setting: settingTyped(r.setting) || "unknown", supply: r.supply || "unknown", variant: variantText(r.variant), note: r.note };
    const form = el("form", {}, field("workload", "Workload", had.workload), field("setting", "Setting", had.setting), el("label", { for: id0 + "supply" }, "Supply"), supply,
      field("variant", "Variant", had.variant), field("note", "Note", had.note), el("div", { className: "buttons" }, el("button", { className: "go" }, "Correct")));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      act("Nothing was corrected", async () => {
        const set = {};
        for (const k of ["workload", "setting", "supply", "note"]) {
          const v = $(id0 + k).value.trim();
          if (v !== had[k]) set[k] = v;
        }
        const now = readVariant($(id0 + "variant").value);
        const pairs = Object.entries(now).filter(([k, v]) => (r.variant || {})[k] !== v).map(([k, v]) => `${k}=${v}`);
        const removed = Object.keys(r.variant || {}).filter((k) => !(k in now));
        if (pairs.length) set.variant = pairs;
        if (removed.length) set.remove_variant = removed;
        if (!Object.keys(set).length) throw new Error("Nothing is different");
        const a = await ask("POST", "/runs/correct", { runs: [r.id], filter: {}, set, why: "", who: "the page" });
        if ((a.left || []).length) throw new Error(a.left[0].why);
        $("sheet").close();
        return { text: "Corrected", back: () => takeBack(a.id) };
      });
    });
    sheet(`${r.workload}, ${cellText(r)}`, el("p", {}, stateText(r)), el("p", {}, [r.package_w !== null && `package ${number(r.package_w, 1)} W`, r.system_w !== null && `whole device ${number(r.system_w, 1)} W`].filter(Boolean).join(", ")),
      r.state === "recording" ? null : [resultForm(r), findings(r), el("details", {}, el("summary", {}, "Correct what was typed"), form)],
      el("div", { className: "buttons" }, el("button", { onclick: () => $("sheet").close() }, "Close")));
    return null;
  });
  const takeBack = async (id) => {
    const a = await ask("POST", "/corrections/undo", { correction: id, why: "", who: "the page", dry_run: false });
    loadCorrections();
    return { text: "The correction is taken back", back: a.id ? () => takeBack(a.id) : null };
  };
  async function loadCorrections() {
    if (!$("corrected").open) return;
    const list = await ask("GET", "/corrections").catch(() => []);
    fill($("corrected").lastElementChild, list.reverse().slice(0, 20).map((b) => el("li", { className: "line" }, `${time(b.at)} ${count((b.runs || []).length, "run")}${b.why ? ", " + b.why : ""}${b.undoes ? " (takes back)" : ""}`,
      b.undone_by ? el("small", {}, "taken back") : el("button", { onclick: () => act("It was not taken back", () => takeBack(b.id)) }, "Take back"))), list.length ? null : el("li", {}, "Nothing was corrected."));
  }
  $("corrected").addEventListener("toggle", loadCorrections);

  // ---- Compare: the report's own sentences and charts. It is drawn on the device, so not
  // while a run is recording.
  let reportIsOld = true, drawing = false, urls = [];
  const wide = matchMedia("(min-width: 64rem)");
  async function drawCompare() {
    if (!reportIsOld || drawing) return;
    if (glance && glance.recording || !(wide.matches ? comparing : view() === "compare")) {
      if (wide.matches && !comparing) fill($("compared"), el("button", { onclick: () => { comparing = true; drawCompare(); } }, "Compare what was measured"));
      else if (glance && glance.recording) fill($("compared"), "It is brought up to date when the run has ended.");
      return;
    }
    drawing = true;
    reportIsOld = false;
    fill($("compared"), "Comparing what was measured …");
    try {
      const r = await fetch("/api/v1/report");
      if (!r.ok) await answer(r);
      const files = untar(new Uint8Array(await r.arrayBuffer()));
      // Pictures are kept out of the page, which takes no style of theirs, and shown as images.
      const text = new TextDecoder().decode(files.get("report.html")), drawn = [];
      const colours = [...text.matchAll(/:root\s*{([^}]*)}/g)].map((m) => m[1]); // light, dark
      const page = new DOMParser().parseFromString(text.replace(/<svg\b[^]*?<\/svg>/g, (svg) => `<i data-n="${drawn.push(svg) - 1}"></i>`).replace(/<(style|script)\b[^]*?<\/\1>| style="[^"]*"/g, ""), "text/html");
      urls.forEach((u) => URL.revokeObjectURL(u));
      urls = [];
      const url = (body, type) => { const u = URL.createObjectURL(new Blob([body], { type })); urls.push(u); return u; };
      const figures = (of) => [...of.querySelectorAll("figure[data-chart]")].map((f) => {
        const image = (size, dark) => url(drawn[f.querySelector(`.${size} [data-n]`).dataset.n].replace(/^<svg([^>]*)>/, `<svg xmlns="${space}"$1><style>:root{${colours[dark]}}</style>`), "image/svg+xml");
        const source = (media, size, dark) => el("source", { media, srcset: image(size, dark) });
        const dark = "(prefers-color-scheme: dark)", large = "(min-width: 48rem)";
        return el("figure", {}, el("picture", {}, source(`${large} and ${dark}`, "wide", 1), source(large, "wide", 0), source(dark, "narrow", 1),
          el("img", { loading: "lazy", src: image("narrow", 0), alt: [...f.querySelectorAll("span[hidden]")].map((e) => e.textContent.trim()).join(": ") })));
      });
      const folded = (of, title, kids) => el("details", {}, el("summary", {}, of.querySelector(title).textContent), kids);
      fill($("compared"), el("a", { className: "button", href: url(files.get("report.html"), "text/html"), download: "report.html" }, "Download the whole report"));
      fill($("report"), [...page.querySelectorAll("#opening .lead")].map((p) => el("p", { className: "lead" }, p.textContent)), figures(page.getElementById("opening")),
        [...page.querySelectorAll("#answers details")].map((d) => folded(d, "summary", [...d.querySelectorAll("li, p")].map((li) => el("p", {}, li.textContent)))),
        [...page.querySelectorAll("main > section:not(#opening, #answers)")].filter((s) => s.querySelector("figure")).map((s) => folded(s, "h2", figures(s))));
    } catch (e) {
      fill($("compared"), e.problem ? e.message : "The device cannot be reached.");
      fill($("report"));
    }
    drawing = false;
  }
  let comparing = false;
  // untar reads an archive (POSIX.1-1988 ustar): names and bytes.
  function untar(bytes) {
    const files = new Map(), text = (from, n) => new TextDecoder().decode(bytes.subarray(from, from + n)).replace(/\0.*$/s, "").trim();
    for (let at = 0; at + 512 <= bytes.length && bytes[at];) {
      const size = parseInt(text(at + 124, 12), 8) || 0;
      files.set([text(at + 345, 155), text(at, 100)].filter(Boolean).join("/"), bytes.subarray(at + 512, at + 512 + size));
      at += 512 + Math.ceil(size / 512) * 512;
    }
    return files;
  }

  // ---- Telling the person, as they chose.
  const chosen = (() => { try { return JSON.parse(localStorage.getItem("tell") || "{}"); } catch { return {}; } })();
  const keep = () => { try { localStorage.setItem("tell", JSON.stringify(chosen)); } catch { /* then it lasts as long as the page */ } };
  const tick = (name, label, changed) => {
    const box = el("input", { type: "checkbox", checked: !!chosen[name] });
    box.addEventListener("change", () => { chosen[name] = box.checked; keep(); if (changed) changed(box); });
    return el("li", {}, el("label", { className: "tick" }, box, label));
  };
  for (const [name, label] of [["fit", "the device is fit to start"], ["ended", "a run ended by itself, or elsewhere"], ["supply", "the supply changed"], ["sensor", "a sensor is lost"], ["hot", "it is too hot"], ["gone", "the agent does not answer"]]) $("when").append(tick(name, label));
  let audio = null;
  const beep = () => {
    audio ||= new AudioContext();
    [0, 0.22].forEach((t, i) => {
      const o = audio.createOscillator(), g = audio.createGain();
      o.frequency.value = i ? 660 : 440;
      g.gain.setValueAtTime(0.2, audio.currentTime + t);
      g.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + t + 0.2);
      o.connect(g).connect(audio.destination);
      o.start(audio.currentTime + t);
      o.stop(audio.currentTime + t + 0.2);
    });
  };
  $("how").append(tick("sound", "with a sound", (box) => { if (box.checked) beep(); }));
  if (navigator.vibrate) $("how").append(tick("vibration", "with vibration", (box) => { if (box.checked) navigator.vibrate(200); }));
  if ("Notification" in window && isSecureContext) $("how").append(tick("notification", "with a notification", async (box) => {
    if (box.checked && await Notification.requestPermission() !== "granted") { box.checked = chosen.notification = false; keep(); say("The browser allows this page no notifications"); }
  }));
  function alarm(kind, text, quietly) {
    if (!chosen[kind]) return;
    say(text);
    if (quietly) return;
    if (chosen.sound) beep();
    if (chosen.vibration && navigator.vibrate) navigator.vibrate([200, 100, 200]);
    try { if (chosen.notification && Notification.permission === "granted") new Notification("sweepd", { body: text, tag: kind }); } catch { /* some browsers let only workers */ }
  }
  let hotAt = -1e9, wasMissing = null;
  function lookOut(g) {
    if (g.too_hot.length) {
      // What goes to and fro at the limit is said once.
      if (performance.now() - hotAt > 30000) alarm("hot", `Too hot: ${g.too_hot[0].name} is at ${number(g.too_hot[0].value, 0)} °C`);
      hotAt = performance.now();
    }
    const missing = new Set(g.missing || []);
    if (wasMissing) for (const m of missing) if (!wasMissing.has(m)) { alarm("sensor", `${m} has no value any more`); break; }
    wasMissing = missing;
  }

  // ---- Staying awake while a run is on.
  let lock = null, locking = false;
  async function awake() {
    const want = !!(glance && glance.recording) && document.visibilityState === "visible" && "wakeLock" in navigator;
    if (locking || want === !!lock) return;
    locking = true;
    try {
      if (want) {
        lock = await navigator.wakeLock.request("screen");
        lock.addEventListener("release", () => { lock = null; });
      } else {
        await lock.release();
        lock = null;
      }
    } catch { /* it is not allowed */ }
    locking = false;
  }

  // ---- The whole.
  const views = ["now", "run", "day", "compare"];
  const view = () => views.includes(location.hash.slice(1)) ? location.hash.slice(1) : "now";
  function show() {
    const v = view();
    for (const name of views) $(name).hidden = name !== v;
    for (const a of document.querySelectorAll("nav a")) {
      if (a.hash === "#" + v) a.setAttribute("aria-current", "page");
      else a.removeAttribute("aria-current");
    }
    scrollTo(0, 0);
    drawCompare();
  }
  let wasRecording = null;
  function draw() {
    const r = glance.recording;
    const what = r ? `● ${r.workload}, ${settingText(r.setting)}${glance.supply ? ", " + glance.supply : ""}` : `${glance.device}${glance.supply ? ", on " + glance.supply : ""}`;
    if ($("what").textContent !== what) { $("what").textContent = what; document.title = `${r ? "● " : ""}${glance.device} – sweepd`; }
    drawNow();
    if ((r ? r.id : "") !== wasRecording) {
      wasRecording = r ? r.id : "";
      turn(!!r);
    }
    drawSteps();
    awake();
    second();
  }
  function drawAll() {
    drawDay();
    drawSteps();
    drawRun();
    drawCompare();
  }
  // second brings up to date what goes on by itself.
  function second() {
    drawElapsed();
    if (!glance) return;
    const r = glance.recording, t = since();
    const clock = r ? span(r.elapsed_s + t) : time(Date.parse(glance.now) + t * 1000);
    if ($("clock").textContent !== clock) $("clock").textContent = clock;
    for (const row of Object.values(rows)) {
      const age = row.aged ? row.aged.age_s + t : null;
      const text = [age === null || row.aged.value === null ? "" : ago(age), row.spanned].filter(Boolean).join("; ");
      if (row.age.textContent !== text) row.age.textContent = text;
      row.age.classList.toggle("old", age !== null && (age > 20 || lost));
    }
  }
  addEventListener("hashchange", show);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") { watchdog(); awake(); if (!lost) refresh(); } });
  addEventListener("online", () => { askedAt = 0; watchdog(); });
  setInterval(watchdog, 250);
  setInterval(() => { if (document.visibilityState === "visible") second(); }, 500);
  setInterval(() => { if (!lost && glance && !glance.recording && (chosen.fit || document.visibilityState === "visible" && (view() === "run" || wide.matches))) checkFit().then(drawRun); }, 30000);
  wide.addEventListener("change", show);
  const toPair = () => {
    const code = new URLSearchParams(location.hash.slice(1)).get("pair");
    if (code) location.replace("/pair#pair=" + encodeURIComponent(code));
  };
  addEventListener("hashchange", toPair);
  toPair();
  show();
  listen();
  refresh();
})();
