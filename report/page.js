"use strict";
// Copying a table for a spreadsheet, and opening what is folded before printing.
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
addEventListener("beforeprint", () => {
	for (const d of document.querySelectorAll("details:not([open])")) { d.open = true; d.dataset.folded = ""; }
});
addEventListener("afterprint", () => {
	for (const d of document.querySelectorAll("details[data-folded]")) { d.open = false; delete d.dataset.folded; }
});
