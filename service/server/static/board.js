// Counts down to every moment on the page, and fetches the page again when something happened.
"use strict";

const left = (ms) => {
  const s = Math.max(0, Math.ceil(ms / 1000));
  const [d, h, m] = [Math.floor(s / 86400), Math.floor(s / 3600) % 24, Math.floor(s / 60) % 60];
  if (d > 0) return `${d} d ${h} h`;
  if (h > 0) return `${h} h ${String(m).padStart(2, "0")} min`;
  return `${m}:${String(s % 60).padStart(2, "0")}`;
};

const count = () => {
  for (const e of document.querySelectorAll("[data-at]")) {
    const ms = Number(e.dataset.at) - Date.now();
    // What came true more than five minutes ago is no news.
    e.textContent = ms > 0 ? left(ms) : ms > -300000 ? "now" : "reached";
    e.classList.toggle("past", ms <= 0);
  }
};
count();
setInterval(count, 1000);

const say = (text) => { document.getElementById("link").textContent = text; };

// The board follows the bench; a form being filled in does not change under the finger.
if (location.pathname === "/") {
  let waiting = 0;
  const again = async () => {
    waiting = 0;
    try {
      const page = await (await fetch("/", { cache: "no-store" })).text();
      const fresh = new DOMParser().parseFromString(page, "text/html");
      document.getElementById("bench").replaceWith(fresh.getElementById("bench"));
      document.title = fresh.title;
      count();
    } catch { say("The link to the service is down; the times go on counting."); }
  };
  const soon = () => { waiting ||= setTimeout(again, 400); };
  const news = new EventSource("/api/v1/events");
  news.onopen = () => { say(""); soon(); };
  news.onerror = () => say("The link to the service is down; the times go on counting.");
  for (const kind of ["fact", "alert", "reading"]) news.addEventListener(kind, soon);
}
