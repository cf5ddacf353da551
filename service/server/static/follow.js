// A page that follows the bench: it is fetched again when something happened there, and says so when it cannot be.
"use strict";

(() => {
  const followed = () => document.querySelector("[data-follow]");
  const down = () => bench.say("link", "The link to the service is down; the times go on counting.");

  // What the keyboard is on, so that it can be found on the fresh page.
  const mark = (e) => {
    if (!e || !followed().contains(e)) return null;
    const at = e.getAttribute("href") ?? e.form?.getAttribute("action");
    return at && { at, tag: e.tagName };
  };
  const find = ({ at, tag }) => [...followed().querySelectorAll(tag)]
    .find((e) => (e.getAttribute("href") ?? e.form?.getAttribute("action")) === at);

  // Nothing is taken from under a hand that fills something in; one that rests for a minute has left. What was opened
  // stays open.
  const RESTS_MS = 60000;
  let touched = 0;
  for (const sign of ["input", "focusin"]) addEventListener(sign, () => { touched = Date.now(); });
  const writes = () => Date.now() - touched < RESTS_MS
    && Boolean(document.activeElement?.matches("[data-follow] :is(input, select, textarea)"));
  const opened = () => [...followed().querySelectorAll("details[open] > summary")].map((e) => e.textContent);

  let waiting = 0;
  const again = async () => {
    waiting = 0;
    if (writes()) return soon(2000);
    try {
      const answer = await fetch(location.href, { cache: "no-store", headers: { accept: "text/html" } });
      // The session has ended: the way in says so.
      if (answer.redirected) return location.assign(answer.url);
      if (!answer.ok) throw new Error(answer.status);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      // What came true meanwhile is told before its card goes.
      bench.count();
      if (writes()) return soon(2000);
      const [on, open] = [mark(document.activeElement), opened()];
      followed().replaceWith(fresh.querySelector("[data-follow]"));
      for (const e of followed().querySelectorAll("summary")) e.parentElement.open ||= open.includes(e.textContent);
      document.title = fresh.title;
      if (on) (find(on) ?? document.getElementById("bench")).focus({ preventScroll: true });
      bench.say("link", "");
      bench.count();
    } catch { down(); }
  };
  const soon = (ms = 250) => { waiting ||= setTimeout(again, ms); };
  const news = new EventSource("/api/v1/events");
  news.onopen = () => { bench.say("link", ""); soon(); };
  news.onerror = down;
  for (const kind of ["fact", "alert", "reading", "plan"]) news.addEventListener(kind, () => soon());
  addEventListener("online", () => soon());
})();
