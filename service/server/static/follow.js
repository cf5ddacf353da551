// A page that follows the bench: it is fetched again when something happened there, and says so when it cannot be. It follows
// while it is looked at: a browser keeps six connections to a service, and every page that listens holds one.
"use strict";

(() => {
  // The service says that it is there every 15 seconds; after two that failed to come something is wrong.
  const SILENT_MS = 40000;
  const ANSWER_MS = 8000;
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

  // The page as it is now; none while nobody answers.
  const fetched = async () => {
    try {
      const signal = AbortSignal.timeout(ANSWER_MS);
      const answer = await fetch(location.href, { cache: "no-store", headers: { accept: "text/html" }, signal });
      return { answer, text: await answer.text() };
    } catch { return null; }
  };

  let waiting = 0;
  const again = async () => {
    waiting = 0;
    if (document.hidden) return;
    if (writes()) return soon(2000);
    const it = await fetched();
    if (!it) return down();
    // The session has ended: the way in says so.
    if (it.answer.redirected) return location.assign(it.answer.url);
    if (!it.answer.ok) return bench.say("link", `The service answers ${it.answer.status}; this page is as it was.`);
    const fresh = new DOMParser().parseFromString(it.text, "text/html");
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
  };
  const soon = (ms = 250) => { waiting ||= setTimeout(again, ms); };

  let [news, silent] = [null, 0];
  // A link that died without a word says nothing; neither does a service that stands still.
  const heard = () => {
    clearTimeout(silent);
    silent = setTimeout(() => { down(); listen(); }, SILENT_MS);
  };
  const listen = () => {
    news?.close();
    news = new EventSource("/api/v1/events");
    heard();
    news.onopen = () => { heard(); soon(); };
    news.onerror = down;
    news.addEventListener("here", () => {
      heard();
      if (document.getElementById("link").textContent) soon();
    });
    for (const kind of ["fact", "alert", "reading", "plan"]) news.addEventListener(kind, () => { heard(); soon(); });
  };
  const rest = () => {
    news?.close();
    clearTimeout(silent);
  };
  const look = () => {
    if (document.hidden) return rest();
    listen();
    soon(0);
  };
  if (!document.hidden) listen();
  document.addEventListener("visibilitychange", look);
  addEventListener("online", look);
})();
