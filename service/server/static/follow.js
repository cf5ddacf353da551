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

  let waiting = 0;
  const again = async () => {
    waiting = 0;
    try {
      const answer = await fetch(location.href, { cache: "no-store", headers: { accept: "text/html" } });
      // The session has ended: the way in says so.
      if (answer.redirected) return location.assign(answer.url);
      if (!answer.ok) throw new Error(answer.status);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      // What came true meanwhile is told before its card goes.
      bench.count();
      const on = mark(document.activeElement);
      followed().replaceWith(fresh.querySelector("[data-follow]"));
      document.title = fresh.title;
      if (on) (find(on) ?? document.getElementById("bench")).focus({ preventScroll: true });
      bench.say("link", "");
      bench.count();
    } catch { down(); }
  };
  const soon = () => { waiting ||= setTimeout(again, 250); };
  const news = new EventSource("/api/v1/events");
  news.onopen = () => { bench.say("link", ""); soon(); };
  news.onerror = down;
  for (const kind of ["fact", "alert", "reading"]) news.addEventListener(kind, soon);
  addEventListener("online", soon);
})();
