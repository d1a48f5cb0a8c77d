package browser

import (
	"os"
	"path/filepath"
)

// axePath is axe-core in a user's cache, where .ci/install puts it; it is no part of the
// program.
const axePath = "sweepd-tests/node_modules/axe-core/axe.min.js"

// Barriers holds what is in sight now against the rules, and returns what is not so:
// axe-core finds nothing (WCAG 2.2 A and AA and its best practices), targets have 44 px
// where hands point at them, and nothing is wider than the display. Without axe-core the
// test is skipped, but fails with CI=true.
func (p *Page) Barriers(hands bool) (list []string) {
	p.t.Helper()
	cache, err := os.UserCacheDir()
	must(p.t, err)
	axe, err := os.ReadFile(filepath.Join(cache, axePath))
	if err != nil {
		if os.Getenv("CI") == "true" {
			p.t.Fatal(err)
		}
		p.t.Skipf("axe-core is missing (.ci/install): %v", err)
	}
	must(p.t, p.Eval("(window.axe || (0, eval)("+Quoted(string(axe))+")), 0", nil))
	must(p.t, p.Eval(`axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"] })
		.then((r) => r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 150) + " " + n.failureSummary).join(" | ")))`, &list))
	// 44 CSS px: WCAG 2.2, 2.5.5 (target size, enhanced). Inputs that a label of that size
	// belongs to are as large as the label. A link within a sentence may be as high as its
	// line, by the same rule.
	if hands {
		var small []string
		must(p.t, p.Eval(`(() => { const inline = (e) => e.matches("a") && getComputedStyle(e).display === "inline" && e.parentElement.innerText.trim() !== e.innerText.trim();
			return [...document.querySelectorAll("a[href], button, input, select, summary")].filter((e) => e.checkVisibility() && !e.closest(".skip") && !e.disabled).filter((e) => !inline(e)).map((e) => [e, (e.closest("label") || e).getBoundingClientRect()])
			.filter(([, r]) => r.width > 0 && (r.width < 43.9 || r.height < 43.9)).map(([e, r]) => "a target of " + r.width + "x" + r.height + ": " + e.outerHTML.slice(0, 100)); })()`, &small))
		list = append(list, small...)
	}
	var wide bool
	must(p.t, p.Eval("document.documentElement.scrollWidth > document.documentElement.clientWidth", &wide))
	if wide {
		list = append(list, "it is wider than the display")
	}
	return list
}
