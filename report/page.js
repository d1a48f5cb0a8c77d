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
		button.textContent = open ? "Fold tables, notes and runs" : "Unfold tables, notes and runs";
		if (open) { button.dataset.open = ""; } else { delete button.dataset.open; }
	});
	button.parentElement.hidden = false;
}
