// The page of an agent. It asks /api/v1 of where it comes from, and nothing else; what a
// person does goes there, and what happens comes from /api/v1/events.
const by = "the page";
const now = () => performance.now();
const $ = (id) => document.getElementById(id);
// typed has a browser leave alone what a person types.
const typed = { autocomplete: "off", autocapitalize: "off", spellcheck: false };
document.querySelectorAll("input").forEach((e) => Object.assign(e, typed));
// el makes an element, such as p or p.quiet: properties, listeners (onclick) and attributes
// (with a dash, or "role").
const el = (what, props = {}, ...kids) => {
	const [tag, ...classes] = what.split(".");
	const e = Object.assign(document.createElement(tag), tag === "input" ? typed : null);
	e.className = classes.join(" ");
	for (const [k, v] of Object.entries(props)) {
		if (k.includes("-") || k === "role" || k === "scope" || k === "for") e.setAttribute(k, v);
		else e[k] = v;
	}
	return fill(e, ...kids);
};
const put = (e, text) => { if (e.textContent !== text) e.textContent = text; };
const fill = (e, ...kids) => { e.replaceChildren(...kids.flat().filter((k) => k !== null && k !== undefined && k !== "")); return e; };

// ---- Words and numbers, as the reader's locale has them.
const number = (v, digits) => v === null || v === undefined ? "–" : v.toLocaleString(undefined, { minimumFractionDigits: digits, maximumFractionDigits: digits });
const plain = (v) => v.toLocaleString(undefined, { maximumSignificantDigits: 6, useGrouping: false });
const time = (t, seconds) => new Date(t).toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit", second: seconds ? "2-digit" : undefined });
// when has the day of the week where it is not today.
const when = (t) => joined(" ", new Date(t).toDateString() !== new Date().toDateString() && new Date(t).toLocaleDateString(undefined, { weekday: "long" }), time(t));
const count = (n, one, many = one + "s") => `${number(n, 0)} ${n === 1 ? one : many}`;
const span = (s) => {
	const t = Math.max(0, Math.floor(s)), m = Math.floor(t / 60);
	const two = (n) => String(n % 60).padStart(2, "0");
	return (m < 60 ? m : Math.floor(m / 60) + ":" + two(m)) + ":" + two(t);
};
const ago = (s) => s < 1 ? "just read" : s < 90 ? `${number(Math.round(s), 0)} s old` : `${number(Math.round(s / 60), 0)} min old`;
const settingText = (s) => !settingTyped(s) ? "unknown setting" : s.watts === null ? s.name : `${plain(s.watts)} W`;
const settingTyped = (s) => !s || (s.watts === null && !s.name) ? "" : s.watts === null ? s.name : `${s.watts}W`;
const variantText = (v) => Object.entries(v || {}).map(([k, x]) => `${k}=${x}`).join(", ");
// ourWords leaves out what only a terminal can do, and has UTC as the reader's clock has it.
const ourWords = (text, day = new Date().toISOString()) => text.replace(/ \(sweepd [^)]*\)/g, "").replace(/\brun \S+ of "(.*?)"/g, "$1").replace(/(\d)W\b/g, "$1 W")
	.replace(/(\d\d:\d\d:\d\d)( UTC|(?= to [\d:]{8} UTC))/g, (_, t) => time(day.slice(0, 11) + t + "Z", true))
	.split("; ").filter((part) => !part.includes("sweepd ")).join("; ") || text;
const joined = (by, ...words) => words.filter(Boolean).join(by);
const cellText = (c) => joined(" · ", settingText(c.setting), c.supply, variantText(c.variant));
const resultText = (name, r) => joined(" ", name, plain(r.value), r.unit);
const results = (r) => Object.entries(r.results || {});

const button = (text, onclick) => el("button", { onclick }, text);
const finding = (severity, title, ...kids) => el("div.finding." + severity, {}, el("b", {}, title), ...kids);

const onSubmit = (form, f) => form.addEventListener("submit", (e) => { e.preventDefault(); f(); });

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

async function ask(method, path, body, headers, patience = 30000) {
	return answer(await fetch("/api/v1" + path, { method, headers: body && { "Content-Type": "application/json", ...headers }, body: body && JSON.stringify(body), signal: AbortSignal.timeout(patience) }));
}
const post = (path, body) => ask("POST", path, body);
async function answer(r) {
	if (r.status === 401) location.replace("/");
	if (r.ok) return r.status === 204 ? null : r.json();
	const problem = await r.json().catch(() => ({ detail: `the agent answers with status ${r.status}` }));
	throw Object.assign(new Error(problem.detail), { problem });
}
// once asks again, over a bad network, until there is an answer: by its key nothing is done twice.
async function once(path, body) {
	const k = key();
	for (let tries = 0; ; tries++) {
		try {
			return await ask("POST", path, body, { "Idempotency-Key": k }, 10000);
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
	const bar = el("div", {}, el("span", {}, text), el("div.acts", {}, undo ? button(undo.label || "Undo", () => act(undo.text, undo.back)) : null,
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
		else say(e.problem ? ourWords(e.message) : e.name === "TypeError" || e.name === "TimeoutError" ? `${failed}: the device cannot be reached` : e.message);
	}
	refresh();
}

const stored = (name, none) => { try { return localStorage.getItem(name) || none; } catch { return none; } };
const keepStored = (name, text) => { try { localStorage.setItem(name, text); } catch { /* then it lasts as long as the page */ } };
// mayUndo: a browser on the device has to be paired to change what is kept, see pair.js.
const mayUndo = () => stored("paired", "") || !/^(localhost|127\.|\[::1)/.test(location.hostname);

// ---- State.
let glance = null, glanceAt = 0; // now() when it came
let lost = false, heard = now(), lastID = "", source = null;
let plan = null, next = null, start = null, runs = [], course = [], fit = null, wasFit = null;
let after = null; // the run that ended last, here or elsewhere, and whose result is asked for
let busy = false, mine = "", spoilt = ""; // mine: the run that was stopped here; spoilt: one whose supply changed
const recording = () => glance && glance.recording;
const declared = () => glance && glance.setting.source === "declared";
const since = () => (now() - glanceAt) / 1000;

// ---- The stream of events. It is opened anew where nothing was heard for a while.
const silence = 2600;
function listen() {
	if (source) source.close();
	heard = now();
	const s = new EventSource("/api/v1/events" + (lastID ? "?after=" + encodeURIComponent(lastID) : ""));
	source = s;
	const on = (kind, f) => s.addEventListener(kind, (m) => {
		if (s !== source) return;
		heard = now();
		if (m.lastEventId) lastID = m.lastEventId;
		f(JSON.parse(m.data));
		found();
	});
	on("begin", (b) => { loadCourse(); if (!b.complete) { knowHands = false; refresh(); } });
	on("event", happened);
	on("glance", (g) => { glance = g; glanceAt = now(); addPoint(g); draw(); });
	on("day", (h) => takeHands(h));
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
	const silent = now() - heard;
	if (silent > silence && !lost) {
		lost = true;
		$("lost").hidden = false;
		$("lost").textContent = `No connection since ${time(Date.now() - silent, true)}. What is shown is as it was then; trying again …`;
		alarm("gone", "The device does not answer");
		askedAt = 0;
	}
	if (lost && now() - askedAt > 2000) {
		askedAt = now();
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
		if (e.run.id !== mine && !byItself()) {
			offer(e.run);
			alarm("ended", `The run of ${e.run.workload} ended (${e.run.state})`);
		}
		reportIsOld = true;
	}
	if (e.run) renew(e.run);
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
				loaded = true;
				[plan, start] = await Promise.all([next && ask("GET", "/plan"), next && next.next && ask("GET", "/plan/next/start").then((s) => s.start)]);
			}).catch(() => {}),
			loadHands(),
		]);
		await checkFit();
	} while (wanted > 1);
	wanted = 0;
	drawAll();
}
async function checkFit() {
	if (recording()) return;
	const q = new URLSearchParams();
	if (start && next && next.next && !freely()) {
		if (next.next.supply) q.set("supply", next.next.supply);
		if (start.setting) q.set("setting", start.setting);
		q.set("workload", start.workload);
		for (const [k, v] of Object.entries(start.variant || {})) q.append("variant", `${k}=${v}`);
	}
	fit = await ask("GET", "/ready?" + q).catch(() => null);
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
	row.svg.setAttribute("aria-label", `last 5 minutes: ${row.spanned}`);
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
	const row = rows[name] = { value: el("dd.much", {}), age: el("div.age", {}), spanned: "", aged: null };
	row.svg = svg("svg", { class: "course", viewBox: "0 0 300 40", preserveAspectRatio: "none", role: "img", hidden: "" });
	row.under = row.svg.appendChild(svg("path", { class: "under" }));
	row.line = row.svg.appendChild(svg("path", {}));
	const dt = el("dt", {}, label, row.age);
	row.label = dt.firstChild;
	$("values").append(el("div", {}, dt, row.value, name === "charge" ? null : el("dd.went", {}, row.svg)));
}
function set(row, label, value, unit, aged) {
	if (row.label.data !== label) row.label.data = label;
	fill(row.value, value, el("small", {}, " " + unit));
	row.aged = aged;
}
function drawCourses() {
	for (const what of ["discharge", "package"]) drawCourse(rows[what], what, true, "W");
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
	put($("others"), g.temperatures.slice(1).map((x) => `${x.name} ${number(x.value, 1)} °C`).join(", "));
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
	const text = [...seen.keys()].join() + declared();
	if (text === drawnSteps) return;
	drawnSteps = text;
	fill($("steps"), [...seen].map(([t, s]) => el("button", { onclick: () => declare(t), "data-setting": t, "aria-pressed": "false" }, settingText(s))),
		declared() ? button("As the system reports", () => declare("")) : null);
	if (glance) drawNow();
}
const declare = (text) => act("The setting was not declared", async () => {
	const before = declared() ? settingTyped(glance.setting) : "";
	const s = await post("/setting", { setting: text, by });
	const says = text ? `${settingText(s.setting)} is declared` : "Nothing is declared; the system's setting counts";
	return { text: says, back: before === text ? null : async () => { await post("/setting", { setting: before, by }); return { text: before ? `${before} is declared again` : "The declaration is taken back" }; } };
});
onSubmit($("declare"), () => {
	const text = $("declared").value.trim();
	if (text) declare(text).then(() => { $("declared").value = ""; });
});

// ---- Run.
// ready tells whether it is known what comes next: while a run is recording nothing does.
const ready = () => loaded && (!next || next.next || !next.left);
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
const tooSoon = () => now() - turned < 1000;
function turn(on) {
	turned = now();
	const left = document.activeElement === $("start") || document.activeElement === $("stop");
	if (!on && $("said").textContent.includes("is recording")) fill($("said")); // it is true no more
	drawRun();
	if (left) $(on ? "cell" : "idle").focus();
}
function drawRun() {
	const r = recording(), alone = byItself();
	$("idle").hidden = $("start").hidden = !!r || alone;
	$("running").hidden = $("stop").hidden = $("set-timer").hidden = !r;
	$("timer").hidden = $("after").hidden = alone;
	$("by-itself").hidden = !alone;
	if (alone) put($("by-itself-text"), dayWords(hands.text));
	// Stop comes first whenever something records.
	const held = document.activeElement;
	if (r) { if ($("after").nextElementSibling) { $("run").append($("after")); held.focus(); } }
	else if ($("after").nextElementSibling !== $("idle")) { $("idle").before($("after")); held.focus(); }
	if (r) {
		fill($("cell"), el("strong", {}, r.workload), cellText(r));
		fill($("stop"), ofHands() ? stopWord() : "Stop");
		drawElapsed();
	} else {
		drawNext();
		const what = freely() ? $("workload").value.trim() : start && ready() ? `${start.workload}, ${ourWords(start.setting || settingText(glance && glance.setting))}` : "";
		fill($("start"), "Start", el("small", {}, what));
		$("start").setAttribute("aria-disabled", String(busy || !freely() && !ready()));
		drawFit();
	}
	drawAfter();
}
function drawElapsed() {
	const r = recording();
	if (!r) return;
	const t = since(), w = glance.discharge_watts.value, hot = glance.temperatures[0], charge = glance.charge_ratio.value;
	put($("live"), joined(" · ", w !== null && `${number(w, 1)} W`, glance.package_watts.value !== null && `package ${number(glance.package_watts.value, 1)} W`, hot && `${number(hot.value, 0)} °C`, charge !== null && `${number(charge * 100, 0)} %`));
	if (r.supply && glance.supply && r.supply !== glance.supply) spoilt = r.id;
	put($("spoilt"), spoilt === r.id ? `The supply changed from ${r.supply}: this run will be rejected.${ofHands() ? "" : " Stop it and start anew."}` : "");
	put($("elapsed"), span(r.elapsed_s + t));
	$("stops").textContent = r.stops_in_s === null ? "" : `stops by itself in ${span(r.stops_in_s - t)}`;
}
function drawNext() {
	const n = next && next.next;
	if (!ready()) {
		fill($("next"), el("p.quiet", {}, "Asking what comes next …"));
	} else if (!next) {
		fill($("next"), el("p", {}, "No plan is in force. Open “Something else”, or make a plan with ", el("code", {}, "sweepd plan new"), "."));
		$("other").open ||= !runs.length;
	} else if (!n) {
		fill($("next"), el("p", {}, el("strong", {}, "The plan is done")));
	} else {
		const changes = (next.changes || []).map((c) => ourWords(c)), read = glance && glance.setting_read;
		// A declaration sets nothing.
		if (read && read.watts && n.setting.watts && read.watts !== n.setting.watts && !changes.some((c) => c.startsWith("set "))) changes.unshift(`set ${settingText(n.setting)} on the device: the system reports ${settingText(read)}`);
		fill($("next"), el("p", {}, el("small", {}, `Next in the plan, ${number(next.left, 0)} left`), el("strong", {}, n.workload), cellText(n)),
			changes.length ? el("ol", { "aria-label": "To change by hand" }, changes.map((c) => el("li", {}, c))) : el("p.quiet", {}, "Nothing to change by hand."));
	}
	const names = [...new Set([...(plan ? plan.slots.map((s) => s.workload) : []), ...runs.map((r) => r.workload)])];
	if ($("workloads").children.length !== names.length) fill($("workloads"), names.map((w) => el("option", { value: w })));
}
function drawFit() {
	fill($("fit"), !fit || !ready() ? null : fit.fit ? "✓ Fit to start" : (fit.reasons || []).map((r) => finding("doubt", r.by_hand ? "Not fit to start" : "Wait before starting", ourWords(r.text), r.expected_s ? `; about ${span(r.expected_s)} to go` : "")));
}
$("other").addEventListener("toggle", drawRun);
$("workload").addEventListener("input", drawRun);
onSubmit($("free"), () => {});

$("start").addEventListener("click", () => act("The run was not started", async () => {
	if (busy || tooSoon() || !freely() && !ready()) return null;
	busy = true;
	drawRun();
	try {
		const q = freely()
			? { workload: $("workload").value.trim(), setting: $("run-setting").value.trim(), variant: readVariant($("variant").value), note: $("note").value.trim() }
			: start && { ...start };
		if (!q) { $("other").open = true; $("workload").focus(); throw new Error("Say which workload: there is no plan"); }
		if (freely() && !await sure(q.workload)) return null;
		const s = minutes();
		const r = await once("/runs/start", { ...q, by, ...(s ? { stop_after_s: s } : {}) });
		return { text: `${r.workload} is recording`, label: "Undo", back: async () => {
			mine = r.id;
			await once("/runs/stop", { run: r.id, if_recording: true, by });
			await post(`/runs/${r.id}/reject`, { why: "started by mistake" });
			return { text: "The run was stopped, and is rejected" };
		} };
	} finally {
		busy = false;
	}
}));
// sure asks back where a name is new and close to one that is known.
async function sure(workload) {
	const d = (await post("/names", { workloads: [workload] })).doubts[0];
	if (!d) return true;
	const use = await choose(`“${workload}” is new`, `Did you mean “${d.near}”, which is known?`, workload, d.near);
	if (use && use !== workload) $("workload").value = use;
	return use === workload;
}
// sureOfResult does the same for the name and the unit of a result, and changes them.
async function sureOfResult(x, run) {
	const doubts = (await post("/names", { results: { [x.name]: x.unit }, run })).doubts;
	if (/\s/.test(x.name) && !doubts.length) doubts.push({ what: "result", near: x.name.replace(/\s+/g, "_") });
	for (const d of doubts) {
		const of = d.what === "unit" ? "unit" : "name", was = x[of];
		x[of] = await choose(`“${was}” is new`, of === "unit" ? `${d.of} was in ${d.near} before. Is the value in ${d.near}?` : `Did you mean “${d.near}”?`, was, d.near);
		if (!x[of]) return false;
	}
	return true;
}
// choose is what a person says that is meant, "" for neither.
const choose = (title, text, typed, near) => new Promise((done) => {
	const use = (what) => button(what === typed ? `${what} is right` : `Use ${what}`, () => { done(what); closeSheet(); });
	sheet(title, el("p", {}, text), el("div.buttons", {}, use(near), use(typed)));
	$("sheet").onclose = () => { if (!$("sheet").open) done(""); };
});
$("stop").addEventListener("click", () => {
	const r = recording();
	if (!r || r.id === mine || tooSoon()) return;
	if (ofHands()) { stopHandsNow(); return; }
	mine = r.id;
	act("The run was not stopped", async () => {
		try {
			const ended = await once("/runs/stop", { run: r.id, if_recording: true, by });
			offer(ended);
			$("minutes").value = "";
			return { text: `Stopped after ${span(ended.duration_s + 0.5)}` };
		} catch (e) {
			mine = "";
			if (!e.problem || !e.problem.ended) throw e;
			offer(e.problem.ended);
			return { text: ourWords(e.message) };
		}
	});
});
// again is for a run that was stopped by mistake.
const again = (old) => act("Nothing was started", async () => {
	await post(`/runs/${old.id}/reject`, { why: "stopped by mistake" });
	putAway(old);
	const r = await once("/runs/start", { workload: old.workload, setting: settingTyped(old.setting), variant: old.variant, note: old.note, by });
	return { text: `The former run is rejected; ${r.workload} is recording anew` };
});
onSubmit($("timer"), () => {
	const r = recording();
	if (!r) return;
	act("The time was not set", async () => {
		const s = minutes();
		const before = r.stops_in_s === null ? 0 : r.elapsed_s + r.stops_in_s;
		await post(`/runs/${r.id}/stop_after`, { after_s: s });
		return { text: s ? `It stops ${span(s)} after its start` : "It is stopped by hand", back: async () => { await post(`/runs/${r.id}/stop_after`, { after_s: before }); return { text: "As before" }; } };
	});
});

// ---- After a run: its result, and what is found about it.
// What is being typed stays. The last run is offered until it has a result or is put away.
let drawnAfter = "", typing = "", away = stored("away", "");
const putAway = (r) => { away = r.id; keepStored("away", away); after = null; typing = ""; };
const renew = (r) => { if (after && after.id === r.id) after = r; };
const offer = (r) => { if (!after || typing !== after.id) after = r; };
$("after").addEventListener("input", () => { typing = after ? after.id : ""; });
function drawAfter() {
	const last = runs.find((r) => r.state !== "recording");
	if (!after && last && last.state === "finished" && last.id !== away && !results(last).length && Date.now() - Date.parse(last.started_at) < 864e5) after = last;
	const text = after ? JSON.stringify([after, [...metrics(after.workload)]]) : "";
	if (text === drawnAfter || after && typing === after.id) return;
	drawnAfter = text;
	typing = "";
	if (!after) { fill($("after")); return; }
	const r = after;
	fill($("after"), el("div.panel", {}, el("h3", {}, `${r.workload}, ${cellText(r)}`), el("p", {}, stateText(r)), resultForm(r), findings(r),
		el("div.buttons", {}, mine === r.id && mayUndo() ? button("By mistake: reject it and record it anew", () => again(r)) : null, button("Done", () => { putAway(r); drawAfter(); }))));
}
const stateText = (r) => r.state === "recording" ? "recording" : `${joined(": ", r.state, r.why)}, ${r.duration_s === null ? "no time known" : span(r.duration_s + 0.5)} from ${time(r.started_at)}`;
// metrics are the results that runs of a workload have had, the newest first.
function metrics(workload) {
	const seen = new Map();
	for (const r of runs) if (r.workload === workload) for (const [name, x] of results(r)) if (!seen.has(name)) seen.set(name, x);
	return seen;
}
let fields = 0;
const field = (label, props) => {
	const input = el("input", { id: "f" + ++fields, ...props });
	return [el("label", { for: input.id }, label), input];
};
function resultForm(r) {
	const known = metrics(r.workload);
	for (const [name, x] of results(r)) known.set(name, x);
	const form = el("form", {});
	const inputs = [];
	for (const [name, x] of known) {
		const had = r.results && r.results[name], [label, input] = field(name + (x.unit ? ` (${x.unit})` : ""), { inputMode: "decimal", value: had ? plain(had.value) : "" });
		inputs.push({ name: () => name, unit: () => x.unit, better: x.better, input, had });
		form.append(label, input);
	}
	const name = field("Name", { placeholder: "fps_mean" }), value = field("Value", { inputMode: "decimal" }), unit = field("Unit", { placeholder: "fps" });
	inputs.push({ name: () => name[1].value.trim(), unit: () => unit[1].value.trim(), input: value[1], another: true });
	form.append(el("details", { open: !known.size }, el("summary", {}, known.size ? "Another result" : "Result"), ...name, ...value, ...unit));
	form.append(el("div.buttons", {}, el("button.go", {}, "Save the result")));
	onSubmit(form, () => {
		act("The result was not saved", async () => {
			const list = {}, removed = [];
			for (const f of inputs) {
				const text = f.input.value.trim();
				if (!text && f.had) removed.push(f.name());
				if (!text && f.another && f.name()) throw new Error(`Say how much ${f.name()} is`);
				if (!text || f.had && text === plain(f.had.value)) continue;
				if (!f.name()) throw new Error("Say what the result is called");
				const x = { name: f.name(), value: readNumber(text), unit: f.unit(), better: f.better };
				if (f.another && !await sureOfResult(x, r.id)) return null;
				list[x.name] = { value: x.value, unit: x.unit, ...(x.better ? { better: x.better } : {}) };
			}
			const names = Object.keys(list), old = r.results || {}, had = names.filter((n) => old[n]);
			const gone = removed.filter((n) => !list[n]), added = names.filter((n) => !old[n]);
			if (!names.length && !gone.length) throw new Error("There is no new value to save");
			let d = r;
			if (names.length) d = await post(`/runs/${r.id}/results`, { results: list });
			if (gone.length) await correct(r.id, { remove_result: gone });
			typing = "";
			closeSheet();
			if (after && after.id === r.id) {
				if (gone.length) after = await ask("GET", `/runs/${r.id}`);
				else if ((d.findings || []).some((f) => f.severity !== "note")) after = d;
				else putAway(r);
			}
			return { text: joined("; ", names.length && "Saved: " + names.map((n) => resultText(n, d.results[n])).join(", "), gone.length && `Removed: ${gone.join(", ")}`), back: async () => {
				const before = Object.fromEntries([...had, ...gone].map((n) => [n, { value: old[n].value, unit: old[n].unit, better: old[n].better }]));
				if (Object.keys(before).length) await post(`/runs/${r.id}/results`, { results: before });
				if (added.length) await correct(r.id, { remove_result: added }, "typed by mistake");
				after = await ask("GET", `/runs/${r.id}`);
				return { text: "As before" };
			} };
		});
	});
	return form;
}
function findings(r) {
	const list = (r.findings || []).filter((f) => f.code !== "result_missing");
	const mayKeep = r.state === "rejected" || r.state === "interrupted";
	const [label, why] = field(mayKeep ? "Keep it? Why" : "Reject it? Why", { placeholder: r.state === "rejected" ? "why it counts after all" : "why it does not count" });
	const decide = (what) => act("Nothing was decided", async () => {
		const reason = why.value.trim();
		if (!reason) { why.focus(); throw new Error("Say why, in a few words"); }
		typing = "";
		const d = await post(`/runs/${r.id}/${what}`, { why: reason });
		renew(d);
		closeSheet();
		const undo = what === "keep" ? ["unkeep", ""] : ["keep", "rejected by mistake"];
		return { text: what === "keep" ? "It counts" : "It is rejected, and kept", back: async () => {
			const d = await post(`/runs/${r.id}/${undo[0]}`, { why: undo[1] });
			renew(d);
			return { text: "As before" };
		} };
	});
	return el("div", {}, list.map((f) => finding(f.severity, { note: "Note", doubt: "Doubt", reject: "Rejected for" }[f.severity], ourWords(f.text + (f.advice ? "; " + f.advice : ""), r.started_at))),
		label, why,
		el("div.buttons", {}, mayKeep ? button("Keep", () => decide("keep")) : null, r.state !== "rejected" ? button("Reject", () => decide("reject")) : null));
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
			plan.left ? `; ends about ${when(plan.expected_end)}` : "", plan.repeat ? `; ${number(plan.repeat, 0)} to repeat` : "");
		const of = Object.fromEntries(runs.map((r) => [r.id, r]));
		const tables = new Map();
		for (const s of plan.slots) {
			const name = joined(", ", s.workload, s.supply && `on ${s.supply}`, glance && s.device !== glance.device && `on ${s.device}`);
			const row = joined(" · ", settingText(s.setting), variantText(s.variant));
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
					el("td", {}, el("small", {}, words), el("span.marks", { "aria-hidden": "true" }, c.slots.map((s) => marks[s]).join(""))));
			}))));
		}
	}
	fill($("runs"), runs.slice(0, 30).map((r) => {
		const [name, x] = results(r)[0] || [];
		const worst = (r.findings || []).find((f) => f.severity === "reject") || (r.findings || []).find((f) => f.severity === "doubt");
		return el("li", {}, el("button", { onclick: () => openRun(r.id) }, el("span.when", {}, time(r.started_at)), el("span", {}, el("b", {}, r.workload), ` ${cellText(r)}`),
			el("span.result", {}, x ? `${plain(x.value)} ${x.unit}` : ""),
			r.state !== "finished" || worst ? el("small.state", {}, joined(": ", r.state !== "finished" && r.state, worst && ourWords(worst.text, r.started_at))) : null));
	}));
	if (!runs.length) fill($("runs"), el("li", {}, "No runs yet."));
}
function drawLook(doubts) {
	const list = doubts.filter((d) => d.severity !== "note");
	fill($("look"), list.length ? el("h3", {}, "Needs a look") : null,
		list.map((d) => finding(d.severity, count(d.runs, "run") + `: ${d.where}`, d.runs > 1 ? `${d.example_where}, for one: ` : "", ourWords(d.example, (runs.find((r) => r.id === d.run_ids[0]) || {}).started_at),
			el("div.buttons", {}, button("Show the run", () => openRun(d.run_ids[0]))))));
}

// ---- A day without hands.
// dayWords keeps commands, which whoever stands by the device types there.
const dayWords = (text, day) => ourWords(text.replaceAll("sweepd ", "sweepd\u00a0"), day).replaceAll("`", "");
let hands = null, noHands = "", handsKey = null; // noHands: what would be needed for one
let knowHands = false, handsHeard = 0, askingHands = false; // an answer that news overtook is old; what is asked for here nobody need be told
const handsOn = () => !!hands && !["idle", "over"].includes(hands.state);
const byItself = () => handsOn() && hands.state !== "paused";
const ofHands = () => handsOn() && !!recording() && recording().id === hands.run; // the run that is recording
const answerOfHands = async (answer) => { const n = handsHeard, h = await answer; if (n === handsHeard) takeHands(h); };
const askHands = async (path, body, how = post) => { askingHands = true; try { await answerOfHands(how("/plan/run" + path, body)); } finally { askingHands = false; } };
// loadHands asks once whether there may be such a day; how it stands comes by itself.
async function loadHands() {
	if (knowHands) return;
	try {
		await answerOfHands(ask("GET", "/plan/run"));
	} catch (e) {
		if (!e.problem) return;
		knowHands = true;
		hands = null;
		noHands = e.problem.kind === "no_hands_off" ? e.message : "";
		drawHands();
	}
}
function takeHands(h) {
	knowHands = true;
	handsHeard++;
	hands = h;
	let key = { hand: `By hand now: ${dayWords(h.hand.join("; "))}`, paused: `The plan is paused: ${dayWords(h.why)}`, over: `The plan that ran by itself has ended: ${dayWords(h.why)}` }[h.state] || "";
	if (key && h.state !== "hand" && h.changed.length) key += "; not everything is put back yet";
	if (key && key !== handsKey && handsKey !== null && (!askingHands || h.state === "hand")) alarm("hand", key);
	handsKey = key;
	drawHands();
	if (glance) { drawRun(); draw(); }
}
const place = (w) => w.path || (w.command || []).join(" ").replaceAll("{}", w.text) || w.actuator;
let drawnHands = "";
function drawHands() {
	const h = hands, on = handsOn(), over = !!h && h.state === "over";
	const text = JSON.stringify([h, noHands, plan && plan.left, sureNow()]);
	if (text === drawnHands) return;
	drawnHands = text;
	$("hands").hidden = !h && !noHands;
	put($("hands-none"), h ? "" : noHands);
	const shown = on || over || !!h && h.changed.length > 0; // after a crash something may be left to put back
	$("hands-on").hidden = !shown;
	$("hands-begin").hidden = !h || on || !plan || !plan.left;
	$("progress").hidden = on; // it says the same
	if (!shown) return;
	const p = h.progress, running = !!h.run || ["setting", "settling", "running"].includes(h.state);
	const head = { over: "The day is over: ", paused: "The day is paused: ", cooling: "It cools down: " }[h.state] || "";
	fill($("hands-text"), dayWords(head ? head + h.text : h.text.charAt(0).toUpperCase() + h.text.slice(1)), h.slot ? el("small", {}, `${h.position} of ${h.slots}: ${h.slot.workload} · ${cellText(h.slot)}`) : null);
	if (on && h.hand.length) {
		if ($("hand").dataset.of !== h.hand.join()) fill($("hand"), el("b", {}, "By hand, now"), el("ol", {}, h.hand.map((x) => el("li", {}, dayWords(x)))), el("p", {}, "It goes on by itself as soon as it sees the change."));
		$("hand").dataset.of = h.hand.join();
	} else {
		fill($("hand"));
		$("hand").dataset.of = "";
	}
	const left = h.changed.map((w) => el("li", {}, `${w.actuator}: ${w.text}, was ${w.was} `, el("small", {}, place(w))));
	fill($("hands-why"), left.length && !byItself() ? finding("reject", "Not put back yet", "It is tried again. On the device, sweepd\u00a0actuators\u00a0restore does it by hand.", el("ul", {}, left)) : null,
		h.why && !(over && h.summary.length) ? finding(over ? "note" : "doubt", over ? "Ended" : "Paused", dayWords(h.why)) : null, h.stopping ? el("p", {}, "It ends after this run.") : null, h.pausing ? el("p", {}, "It pauses after this run.") : null,
		over ? h.summary.map((x) => el("p", {}, dayWords(x))) : null);
	$("hands-bar").hidden = $("hands-left").hidden = !on && !over;
	$("hands-bar").max = p.done + p.left || 1;
	$("hands-bar").value = p.done;
	fill($("hands-left"), joined("; ", `${number(p.done, 0)} of ${number(p.done + p.left, 0)} done`, on && p.left && p.expected_end && `ends about ${when(p.expected_end)}`, on && h.try > 1 && `try ${h.try} of this run`, on && h.hands && `a hand was needed ${count(h.hands, "time")}`,
		on && (h.runner ? `workloads run as ${h.runner.user}` : "nothing is there that runs workloads")));
	const show = (name, visible, label) => {
		if (!visible && document.activeElement === $(name)) $("hands-h").focus({ preventScroll: true });
		$(name).hidden = !visible;
		put($(name), label);
	};
	show("hands-pause", on && h.state !== "paused" && !h.pausing && !h.stopping, running ? "Pause after this run" : "Pause");
	show("hands-resume", on && (h.state === "paused" || h.pausing), h.pausing ? "Do not pause" : "Resume");
	show("hands-stop", on && !h.stopping, running ? "Stop after this run" : "Stop");
	show("hands-now", on, stopWord());
	put($("hands-same"), left.length ? "" : "Everything is set as it was found.");
	$("hands-changed").hidden = !left.length || !byItself();
	put($("hands-changed").firstElementChild, `${count(left.length, "thing is", "things are")} set otherwise than found`);
	if (byItself()) fill($("hands-changed").lastElementChild, left);
	$("hands-skipped").hidden = !h.skipped.length;
	put($("hands-skipped").firstElementChild, `${count(h.skipped.length, "run")} skipped`);
	fill($("hands-skipped").lastElementChild, h.skipped.map((s) => el("li", {}, `${number(s.position, 0)}: ${dayWords(s.cell)}`, el("small", {}, ` ${dayWords(s.why)}`))));
	const told = h.told.map((x) => el("li", {}, el("small", {}, time(x.at)), ` ${dayWords(x.text, x.at)}`)).reverse();
	fill($("hands-told"), told.slice(0, 3));
	$("hands-before").hidden = told.length < 4;
	fill($("hands-before").lastElementChild, told.slice(3));
}
// tellHands asks for something of the day, whose state then says what came of it.
const tellHands = (what, body, text) => act("The day was not changed", async () => {
	await askHands("/" + what, { by, why: "", now: false, ...body });
	fill($("said"));
	return text && { text };
});
for (const what of ["pause", "stop"]) $("hands-" + what).addEventListener("click", () => tellHands(what));
$("hands-resume").addEventListener("click", () => tellHands("resume", {}, "It goes on"));
// Stop now is tapped twice: a slip would cost a run. The second tap is none of a double one.
let stopTapped = -1e9;
const sureNow = () => now() - stopTapped < 6000;
const stopWord = () => sureNow() ? "Tap again to stop now" : "Stop now";
function stopHandsNow() {
	const since = now() - stopTapped;
	if (since < 400) return;
	if (since > 6000) {
		stopTapped = now();
		say("Tap once more: the workload is ended, its run rejected, and everything put back");
		setTimeout(() => { drawHands(); drawRun(); }, 6050);
	} else {
		stopTapped = -1e9;
		tellHands("stop", { now: true });
	}
	drawHands();
	drawRun();
}
$("hands-now").addEventListener("click", stopHandsNow);
let beginning = false;
$("hands-begin").addEventListener("click", () => act("The plan cannot run by itself", async () => {
	const d = await post("/plan/run/dry", { consent: false, by, retry: false });
	const box = (label) => { const e = el("input", { type: "checkbox" }); return [e, el("label.tick", {}, e, label)]; };
	const [agree, agreeing] = box("I have read this and agree: sweepd sets the power of this device by itself"), [again, trying] = box("Try again what was skipped");
	const writes = d.writes.flatMap((w) => w.cannot ? [el("li", {}, el("b", {}, `${dayWords(w.value)}: `), dayWords(w.cannot))] : w.steps.map((x, i) => el("li", {}, el("b", {}, i ? "" : `${dayWords(w.value)}: `), `${x.actuator} ${x.was} → ${x.text}`, el("small", {}, place(x)))));
	sheet("Let the plan run by itself", d.lacks.map((x) => finding("doubt", "Missing", dayWords(x))),
		el("p", {}, `${count(d.slots, "run")}, about ${d.left_s < 5400 ? count(Math.ceil(d.left_s / 60), "minute") : `${number(d.left_s / 3600, 1)} hours`}.`), d.hands.length ? el("p", {}, "By hand: ", d.hands.map((x) => dayWords(x.what) + (x.times ? ` (${count(x.times, "time")})` : "")).join("; "), ".") : null,
		el("h3", {}, "Read this first"), el("ul.cautions", {}, d.cautions.map((x) => el("li", {}, x))),
		el("details", { open: !d.consent }, el("summary", {}, "What would be written where, from what is there now"), el("ul.writes", {}, writes.length ? writes : el("li", {}, "Nothing: the plan needs no change."))),
		el("details", {}, el("summary", {}, "What is run"), el("ul.writes", {}, d.workloads.map((w) => el("li", {}, el("b", {}, `${w.workload}: `), w.cannot || el("code", {}, w.command.join(" ")))))),
		d.consent ? el("p", {}, `Agreed for ${d.consent.device} on ${new Date(d.consent.at).toLocaleDateString()} by ${d.consent.by}.`) : agreeing, hands && hands.skipped.length ? trying : null,
		el("div.buttons", {}, el("button.go", { onclick: () => act("It did not begin", async () => {
			if (beginning) return null;
			if (!d.consent && !agree.checked) { agree.focus(); throw new Error("Tick that you have read the cautions and agree"); }
			beginning = true;
			try {
				await askHands("", { consent: agree.checked, by, retry: again.checked }, once);
			} finally { beginning = false; }
			closeSheet();
			$("hands-h").focus();
			return { text: "The plan runs by itself. Stay in reach" };
		}) }, "Begin"), button("Close", closeSheet)));
	return null;
}));

const closeSheet = () => { if ($("sheet").open) $("sheet").close(); };
function sheet(title, ...kids) {
	fill($("sheet"), el("h3", { id: "sheet-h", tabIndex: -1, autofocus: true }, title), ...kids, el("p", { id: "sheet-said", role: "status" }));
	if (!$("sheet").open) $("sheet").showModal();
}
const openRun = (id) => act("The run cannot be shown", async () => {
	const r = await ask("GET", `/runs/${id}`);
	const had = { workload: r.workload, setting: settingTyped(r.setting) || "unknown", supply: r.supply || "unknown", variant: variantText(r.variant), note: r.note };
	const inputs = {};
	const typedIn = Object.entries({ workload: "Workload", setting: "Setting", variant: "Variant", note: "Note" }).map(([k, label]) => {
		const pair = field(label, { value: had[k] });
		inputs[k] = pair[1];
		return pair;
	});
	const supplyID = "f" + ++fields;
	inputs.supply = el("select", { id: supplyID }, ["mains", "battery", "unknown"].map((s) => el("option", { value: s, selected: s === had.supply }, s)));
	const form = el("form", {}, typedIn.flat(), el("label", { for: supplyID }, "Supply"), inputs.supply, el("div.buttons", {}, el("button.go", {}, "Correct")));
	onSubmit(form, () => {
		act("Nothing was corrected", async () => {
			const set = {};
			for (const k of ["workload", "setting", "supply", "note"]) {
				const v = inputs[k].value.trim();
				if (v !== had[k]) set[k] = v;
			}
			const variant = readVariant(inputs.variant.value);
			const pairs = Object.entries(variant).filter(([k, v]) => (r.variant || {})[k] !== v).map(([k, v]) => `${k}=${v}`);
			const removed = Object.keys(r.variant || {}).filter((k) => !(k in variant));
			if (pairs.length) set.variant = pairs;
			if (removed.length) set.remove_variant = removed;
			if (!Object.keys(set).length) throw new Error("Nothing is different");
			const a = await correct(r.id, set);
			if ((a.left || []).length) throw new Error(a.left[0].why);
			closeSheet();
			return { text: "Corrected", back: () => takeBack(a.id) };
		});
	});
	sheet(`${r.workload}, ${cellText(r)}`, el("p", {}, stateText(r)), el("p", {}, joined(", ", r.package_w !== null && `package ${number(r.package_w, 1)} W`, r.system_w !== null && `whole device ${number(r.system_w, 1)} W`)),
		r.state === "recording" ? null : [resultForm(r), findings(r), el("details", {}, el("summary", {}, "Correct what was typed"), form)],
		el("div.buttons", {}, button("Close", closeSheet)));
	return null;
});
const correct = (id, set, why = "") => post("/runs/correct", { runs: [id], filter: {}, set, why, who: by });
const takeBack = async (id) => {
	const a = await post("/corrections/undo", { correction: id, why: "", who: by, dry_run: false });
	loadCorrections();
	return { text: "The correction is taken back", back: a.id ? () => takeBack(a.id) : null };
};
async function loadCorrections() {
	if (!$("corrected").open) return;
	const list = await ask("GET", "/corrections").catch(() => []);
	fill($("corrected").lastElementChild, list.reverse().slice(0, 20).map((b) => el("li.line", {}, `${time(b.at)} ${count((b.runs || []).length, "run")}${b.why ? ", " + b.why : ""}${b.undoes ? " (takes back)" : ""}`,
		b.undone_by ? el("small", {}, "taken back") : button("Take back", () => act("It was not taken back", () => takeBack(b.id))))), list.length ? null : el("li", {}, "Nothing was corrected."));
}
$("corrected").addEventListener("toggle", loadCorrections);

// ---- Compare: the report's own sentences and charts. It is drawn on the device, so not
// while a run is recording.
let reportIsOld = true, drawing = false, urls = [];
const wide = matchMedia("(min-width: 64rem)");
async function drawCompare() {
	if (!reportIsOld || drawing) return;
	if (recording() || !(wide.matches ? comparing : view() === "compare")) {
		if (wide.matches && !comparing) fill($("compared"), button("Compare what was measured", () => { comparing = true; drawCompare(); }));
		else if (recording()) fill($("compared"), "It is brought up to date when the run has ended.");
		return;
	}
	drawing = true;
	reportIsOld = false;
	fill($("compared"), "Comparing what was measured …");
	try {
		const r = await fetch("/api/v1/comparison");
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
		fill($("compared"), el("a.button", { href: url(files.get("report.html"), "text/html"), download: "report.html" }, "Download the whole report"));
		fill($("report"), [...page.querySelectorAll("#opening .lead")].map((p) => el("p.lead", {}, p.textContent)), figures(page.getElementById("opening")),
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
		files.set(joined("/", text(at + 345, 155), text(at, 100)), bytes.subarray(at + 512, at + 512 + size));
		at += 512 + Math.ceil(size / 512) * 512;
	}
	return files;
}

// ---- Telling the person, as they chose.
const chosen = JSON.parse(stored("tell", "{}"));
const keep = () => keepStored("tell", JSON.stringify(chosen));
const tick = (name, label, changed) => {
	const box = el("input", { type: "checkbox", checked: !!chosen[name] });
	box.addEventListener("change", () => { chosen[name] = box.checked; keep(); if (changed) changed(box); });
	return el("li", {}, el("label.tick", {}, box, label));
};
for (const [name, label] of [["fit", "the device is fit to start"], ["ended", "a run ended by itself, or elsewhere"], ["supply", "the supply changed"], ["hand", "the plan that runs by itself needs a hand, pauses or ends"], ["sensor", "a sensor is lost"], ["hot", "it is too hot"], ["gone", "the agent does not answer"]]) $("when").append(tick(name, label));
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
		if (now() - hotAt > 30000) alarm("hot", `Too hot: ${g.too_hot[0].name} is at ${number(g.too_hot[0].value, 0)} °C`);
		hotAt = now();
	}
	const missing = new Set(g.missing || []);
	if (wasMissing) for (const m of missing) if (!wasMissing.has(m)) { alarm("sensor", `${m} has no value any more`); break; }
	wasMissing = missing;
}

// ---- Staying awake while a run is on, or a hand may be needed.
let lock = null, locking = false;
async function awake() {
	const want = (!!recording() || byItself()) && !document.hidden && "wakeLock" in navigator;
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
	const what = hands && hands.state === "hand" && hands.hand.length ? `By hand: ${dayWords(hands.hand[0])}` : r ? joined(", ", `● ${r.workload}`, settingText(r.setting), glance.supply) : joined(", on ", glance.device, glance.supply);
	if ($("what").textContent !== what) { $("what").textContent = what; document.title = `${what.startsWith("By hand") ? "By hand: " : r ? "● " : ""}${glance.device} – sweepd`; }
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
	drawHands();
	drawSteps();
	drawRun();
	drawCompare();
}
// second brings up to date what goes on by itself.
function second() {
	drawElapsed();
	if (!glance) return;
	const r = glance.recording, t = since();
	put($("clock"), r ? span(r.elapsed_s + t) : time(Date.parse(glance.now) + t * 1000));
	for (const row of Object.values(rows)) {
		const age = row.aged ? row.aged.age_s + t : null;
		put(row.age, joined("; ", age === null || row.aged.value === null ? "" : ago(age), row.spanned));
		row.age.classList.toggle("old", age !== null && (age > 20 || lost));
	}
}
addEventListener("hashchange", show);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { watchdog(); awake(); if (!lost) refresh(); } });
addEventListener("online", () => { askedAt = 0; watchdog(); });
setInterval(watchdog, 250);
setInterval(() => { if (!document.hidden) second(); }, 500);
setInterval(() => { if (!lost && glance && !glance.recording && (chosen.fit || !document.hidden && (view() === "run" || wide.matches))) checkFit().then(drawRun); }, 30000);
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
