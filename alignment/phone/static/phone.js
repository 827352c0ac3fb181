// Keeps each answer until the server has it on disk: through lost Wi-Fi, a dead server, a closed tab. The page works
// without this file; only then nothing is kept while the server cannot be reached.
"use strict";
(() => {
  const QUEUE = "stringtrue-queue";
  const LOOK = 2500; // milliseconds between two looks at the server
  let sending = false;
  let touched = 0;
  let scan = false;

  const queue = () => { try { return JSON.parse(localStorage.getItem(QUEUE) || "[]"); } catch { return []; } };
  const keep = (list) => localStorage.setItem(QUEUE, JSON.stringify(list));
  const main = () => document.getElementById("main");

  function tell(message) {
    const line = document.getElementById("waiting");
    const n = queue().length;
    line.hidden = !n && !message;
    line.textContent = message || (scan && n ? line.dataset.scan : n === 1 ? line.dataset.one : n ? line.dataset.many.replace("#", String(n)) : "");
  }

  async function refresh() {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    if (!answer.ok) { return false; }
    replace(await answer.text());
    return true;
  }

  function replace(text) {
    const found = new DOMParser().parseFromString(text, "text/html");
    const fresh = found.getElementById("main");
    if (!fresh) { return; }
    // an open list stays open
    const open = [...main().querySelectorAll("details")].map((d) => d.open);
    [...fresh.querySelectorAll("details")].forEach((d, k) => { d.open = open[k] ?? d.open; });
    main().replaceWith(fresh);
    document.querySelector(".progress").textContent = found.querySelector(".progress").textContent;
    const first = fresh.querySelector("[role=alert], .now h1");
    if (first) { first.tabIndex = -1; first.focus({ preventScroll: true }); }
    scrollTo(0, 0);
  }

  async function send() {
    if (sending) { return; }
    sending = true;
    try {
      while (queue().length) {
        const [next, ...rest] = queue();
        const answer = await fetch("/answer", {
          method: "POST", body: next.body,
          headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
        });
        if (answer.status === 403) { scan = true; throw new Error("another key"); }
        if (answer.status >= 500 || answer.status === 421) { throw new Error("later"); }
        scan = false;
        const told = await answer.json();
        keep(queue().filter((one) => one.id !== next.id));
        if (told.saved === "conflict" || told.saved === "refused") {
          tell();
          // what others read meanwhile is shown by the page itself; nothing is written over
          const shown = await fetch("/answer", { method: "POST", body: next.body,
            headers: { Accept: "text/html", "Content-Type": "application/x-www-form-urlencoded" } });
          replace(await shown.text());
          return;
        }
        if (!rest.length) { await refresh(); }
      }
      tell();
    } catch {
      tell();
    } finally {
      sending = false;
    }
  }

  addEventListener("submit", (event) => {
    const form = event.target;
    if (form.action.endsWith("/answer") === false) { return; }
    event.preventDefault();
    const data = new FormData(form, event.submitter);
    const body = new URLSearchParams(data);
    const id = body.get("id") || "";
    if (queue().some((one) => one.id === id)) { return; } // pressed twice
    keep([...queue(), { id, body: body.toString() }]);
    tell();
    // the second end can be read while the first is on its way
    const following = document.getElementById("following");
    if (form.classList.contains("pad") && following && following.content.firstElementChild) {
      form.replaceWith(following.content.firstElementChild);
    } else {
      form.querySelectorAll("button").forEach((button) => { button.disabled = true; });
    }
    send();
  });
  addEventListener("input", () => { touched = Date.now(); });
  addEventListener("online", send);
  addEventListener("visibilitychange", send);

  setInterval(async () => {
    if (queue().length) { send(); return; }
    if (document.hidden || Date.now() - touched < 2 * LOOK || document.querySelector("[role=alert]")) { return; }
    try {
      const answer = await fetch("/state");
      if (answer.ok && (await answer.json()).version !== main().dataset.version) { await refresh(); }
    } catch { /* the next look will tell */ }
  }, LOOK);

  tell();
  send();
})();
