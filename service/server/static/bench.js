// Counts down to every moment on the page, by the shop's clock: a tablet's own may be wrong.
"use strict";

const bench = (() => {
  // The way here takes a moment: what is off by no more than that is right.
  const apart = Number(document.body.dataset.now) - Date.now();
  const ahead = Math.abs(apart) > 3000 ? apart : 0;
  const now = () => Date.now() + ahead;

  const left = (ms) => {
    const s = Math.max(0, Math.ceil(ms / 1000));
    const [d, h, m] = [Math.floor(s / 86400), Math.floor(s / 3600) % 24, Math.floor(s / 60) % 60];
    if (d > 0) return `${d} d ${h} h`;
    if (h > 0) return `${h} h ${String(m).padStart(2, "0")} min`;
    return `${m}:${String(s % 60).padStart(2, "0")}`;
  };

  // A screen reader hears of a moment when it comes, not of every second before it.
  const told = new Set();
  const tell = (text) => { document.getElementById("told").textContent = text; };

  const count = () => {
    for (const e of document.querySelectorAll("[data-at]")) {
      const ms = Number(e.dataset.at) - now();
      // What came true more than five minutes ago is no news.
      const text = ms > 0 ? left(ms) : e.dataset.past ?? (ms > -300000 ? "now" : "reached");
      if (e.textContent !== text) e.textContent = text;
      e.classList.toggle("past", ms <= 0);
      const says = e.dataset.says && `${e.dataset.at} ${e.dataset.says}`;
      if (says && ms <= 0 && ms > -2000 && !told.has(says)) {
        told.add(says);
        tell(e.dataset.says);
      }
    }
    // What can be done for a while only goes when that is over.
    for (const e of document.querySelectorAll("[data-until]")) e.hidden = Number(e.dataset.until) <= now();
  };
  count();
  setInterval(count, 1000);

  return { count, now, say: (id, text) => { document.getElementById(id).textContent = text; } };
})();
