"use strict";
// Pairs this browser with the agent: by the code in the address, or one that is typed.
(() => {
  const said = document.getElementById("said");
  const field = document.getElementById("code");
  const pair = async (code) => {
    said.textContent = "Pairing …";
    try {
      const r = await fetch("/api/v1/pair", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code }) });
      if (r.ok) {
        try { localStorage.setItem("paired", "1"); } catch { /* then the page offers less */ }
        location.replace("/");
        return;
      }
      said.textContent = (await r.json()).detail.replaceAll("`", "");
    } catch {
      said.textContent = "The device cannot be reached. Is this phone in its network?";
    }
    field.focus();
    said.scrollIntoView({ block: "nearest" });
  };
  document.getElementById("form").addEventListener("submit", (e) => {
    e.preventDefault();
    if (field.value.trim()) pair(field.value);
    else said.textContent = "Type the code that the device shows.";
  });
  // The code of an address is taken once, whether the page is loaded with it or is there already.
  const fromAddress = () => {
    const code = new URLSearchParams(location.hash.slice(1)).get("pair");
    if (!code) return false;
    history.replaceState(null, "", location.pathname); // it stays in no history
    pair(code);
    return true;
  };
  addEventListener("hashchange", fromAddress);
  if (fromAddress()) return;
  // A link from elsewhere comes without the cookie of a phone that is paired.
  if (location.pathname === "/") fetch("/api/v1/status").then((r) => { if (r.ok) location.replace("/"); }, () => {});
})();
