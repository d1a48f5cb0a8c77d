"use strict";
// Copying a table for a spreadsheet, and unfolding all that is folded.

// A text that a spreadsheet would take for a formula gets an apostrophe before it; a
// number, with its unit, is none.
function unlikeFormula(text) {
	const number = /^[+-]?[\d.,]+[\s\w%°µ\/]*$/;
	return /^'*[=+\-@＝＋－＠]/.test(text) && !number.test(text) ? "'" + text : text;
}
for (const table of document.querySelectorAll("table")) {
	const button = document.createElement("button");
	button.type = "button";
	button.textContent = "Copy table";
	button.addEventListener("click", async () => {
		const rows = [...table.rows].map(r => [...r.cells].map(c => unlikeFormula(c.innerText.replace(/\s+/g, " ").trim())).join("\t"));
		const text = rows.join("\n");
		try {
			await navigator.clipboard.writeText(text);
		} catch {
			const area = document.createElement("textarea");
			area.value = text;
			document.body.append(area);
			area.select();
			document.execCommand("copy");
			area.remove();
		}
		button.textContent = "Copied";
		setTimeout(() => { button.textContent = "Copy table"; }, 1500);
	});
	table.parentElement.before(button);
}
for (const button of document.querySelectorAll(".unfold button")) {
	button.addEventListener("click", () => {
		const open = button.dataset.open !== "";
		for (const d of document.querySelectorAll("details")) { d.open = open; }
		button.textContent = open ? "Fold everything" : "Unfold everything";
		if (open) { button.dataset.open = ""; } else { delete button.dataset.open; }
	});
	button.parentElement.hidden = false;
}
// A link to what is folded unfolds it.
function unfoldLinked() {
	const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
	if (!target) { return; }
	for (let d = target.closest("details"); d; d = d.parentElement.closest("details")) { d.open = true; }
	for (const d of target.querySelectorAll(":scope > details")) { d.open = true; }
	target.scrollIntoView();
}
addEventListener("hashchange", unfoldLinked);
if (location.hash) { unfoldLinked(); }
for (const link of document.querySelectorAll('a[href^="#"]')) {
	link.addEventListener("click", () => { if (link.hash === location.hash) { unfoldLinked(); } });
}
// Paper has nothing to click: what is folded as a part of the page is printed, what is
// folded as a table, a note or the list of all runs stays as it is.
const unfolded = [];
addEventListener("beforeprint", () => {
	for (const d of document.querySelectorAll("details.part:not([open])")) { d.open = true; unfolded.push(d); }
});
addEventListener("afterprint", () => { for (const d of unfolded.splice(0)) { d.open = false; } });
