// Keeps a form that could not be sent on this device, and sends it when the network is back: once, because it goes with
// the key it was made with, and with the instant its button was pressed. A photo is too large to be kept: its form says so.
"use strict";

(() => {
  const SHELF = "kept";
  const EVERY_MS = 3000;
  // A service that has not answered by then stands still: what was entered waits on the shelf.
  const ANSWER_MS = 8000;
  const PHOTO_MS = 60000;
  // Somebody who waits this long is told what is going on.
  const SLOW_MS = 700;
  const kept = () => JSON.parse(localStorage.getItem(SHELF) ?? "[]");
  const put = (forms) => localStorage.setItem(SHELF, JSON.stringify(forms));
  const same = (a, b) => a.to === b.to && a.fields.toString() === b.fields.toString();

  const say = (note, except) => {
    const place = document.getElementById("kept");
    const forms = kept().filter((f) => !except || !same(f, except));
    const lines = forms.map((f) => f.refused
      ? `${f.what} was refused: ${f.refused}`
      : `${f.what}: kept on this device, sent as soon as the service answers.`);
    if (note) lines.unshift(note);
    place.replaceChildren(...lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })));
    if (forms.some((f) => f.refused)) {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: "Put the refused away" });
      button.onclick = () => { put(kept().filter((f) => !f.refused)); say(); };
      place.append(button);
    }
  };

  const send = (to, body, ms) => fetch(to, {
    method: "POST", body, headers: { accept: "text/html" }, signal: AbortSignal.timeout(ms),
  });
  const post = (form) => send(form.to, new URLSearchParams(form.fields), ANSWER_MS);
  const page = async (answer) => new DOMParser().parseFromString(await answer.text(), "text/html");
  const wrongIn = (fresh) => fresh.querySelector("[role=alert]")?.textContent.trim() ?? "the service would not take it";

  // The service cannot write just now, or does not know who asks until somebody logs in again: later.
  const later = (answer) => answer.status >= 500 || answer.status === 401 || answer.status === 429;

  // One page sends at a time, also when several are open.
  let busy = false;
  const sendKept = async () => {
    if (busy || !kept().some((f) => !f.refused)) return;
    busy = true;
    try {
      for (const form of kept().filter((f) => !f.refused)) {
        const answer = await post(form);
        if (later(answer)) break;
        const rest = kept().filter((f) => !same(f, form));
        const refused = answer.ok ? null : wrongIn(await page(answer));
        put(refused ? [...rest, { ...form, refused }] : rest);
        say(refused ? "" : `${form.what}: sent, the service has it.`);
        if (!refused && form.from === location.pathname + location.search && answer.redirected) location.assign(answer.url);
      }
    } catch { /* still no way through */ } finally { busy = false; }
  };

  // On to where the answer leads, or the page again with what was wrong.
  const show = async (answer) => {
    if (answer.ok && answer.redirected) return location.assign(answer.url);
    const fresh = await page(answer);
    document.getElementById("bench").replaceWith(fresh.getElementById("bench"));
    document.title = fresh.title;
    document.getElementById("bench").focus();
    scrollTo(0, 0);
  };

  // Sends what was entered; how it went wrong is for the form to say.
  const sending = async (form, what, it, sent, failed) => {
    form.dataset.sending = "yes";
    const slow = setTimeout(() => say(`${what}: sending …`, it), SLOW_MS);
    busy = true;
    try {
      const answer = await sent();
      if (later(answer)) throw new Error(answer.status);
      if (it) put(kept().filter((f) => !same(f, it)));
      clearTimeout(slow);
      say();
      await show(answer);
    } catch {
      clearTimeout(slow);
      failed();
      document.getElementById("kept").scrollIntoView({ block: "nearest" });
    } finally { busy = false; delete form.dataset.sending; }
  };

  addEventListener("submit", (event) => {
    const [form, button] = [event.target, event.submitter];
    const what = button?.dataset.keep ?? form.dataset.keep ?? form.dataset.send;
    if (!what || event.defaultPrevented) return;
    event.preventDefault();
    const keyOf = (fields) => fields.find(([name]) => name === "key")?.[1];
    const key = form.elements.key?.value;
    // Pressed again: the first press counts, and it is on the shelf.
    if (form.dataset.sending || (key && kept().some((f) => keyOf(f.fields) === key))) return;
    const to = button?.getAttribute("formaction") ?? form.getAttribute("action");
    const filled = new FormData(form, button);
    if (form.dataset.send) {
      const not = () => say(`${what}: not sent, and too large to be kept here. It is still chosen: press again when the service answers.`);
      return void sending(form, what, null, () => send(to, filled, PHOTO_MS), not);
    }
    const fields = [...filled, ["pressed_ms", String(Math.round(bench.now()))]];
    const it = { to, what, from: location.pathname + location.search, fields };
    // On the shelf before it is sent: a page that is closed or a battery that ends loses nothing.
    put([...kept(), it]);
    void sending(form, what, it, () => post(it), () => say());
  });

  say();
  sendKept();
  addEventListener("online", sendKept);
  setInterval(sendKept, EVERY_MS);
})();
