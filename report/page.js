"use strict";
// Copying a table for a spreadsheet, and unfolding all that is folded.
for (const table of document.querySelectorAll("table")) {
	const button = document.createElement("button");
	button.type = "button";
	button.textContent = "Copy table";
	button.addEventListener("click", async () => {
		const rows = [...table.rows].map(r => [...r.cells].map(c => c.innerText.replace(/\s+/g, " ").trim()).join("\t"));
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
