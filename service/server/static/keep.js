// Keeps a form that could not be sent on this device, and sends it when the network is back: once, because it goes with
// the key it was made with, and with the instant its button was pressed.
"use strict";

(() => {
  const SHELF = "kept";
  const EVERY_MS = 3000;
  const kept = () => JSON.parse(localStorage.getItem(SHELF) ?? "[]");
  const put = (forms) => localStorage.setItem(SHELF, JSON.stringify(forms));

  const say = (note) => {
    const place = document.getElementById("kept");
    const forms = kept();
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

  const post = (form) => fetch(form.to, {
    method: "POST", body: new URLSearchParams(form.fields), headers: { accept: "text/html" },
  });
  const page = async (answer) => new DOMParser().parseFromString(await answer.text(), "text/html");
  const wrongIn = (fresh) => fresh.querySelector("[role=alert]")?.textContent.trim() ?? "the service would not take it";

  // The service cannot write just now, or does not know who asks until somebody logs in again: later.
  const later = (answer) => answer.status >= 500 || answer.status === 401 || answer.status === 429;

  // One page sends at a time, also when several are open.
  let busy = false;
  const send = async () => {
    if (busy || !kept().some((f) => !f.refused)) return;
    busy = true;
    try {
      for (const form of kept().filter((f) => !f.refused)) {
        const answer = await post(form);
        if (later(answer)) break;
        const rest = kept().filter((f) => f.fields.toString() !== form.fields.toString());
        const refused = answer.ok ? null : wrongIn(await page(answer));
        put(refused ? [...rest, { ...form, refused }] : rest);
        say(refused ? "" : `${form.what}: sent, the service has it.`);
        if (!refused && form.from === location.pathname + location.search && answer.redirected) location.assign(answer.url);
      }
    } catch { /* still no way through */ } finally { busy = false; }
  };

  addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.dataset.keep || event.defaultPrevented) return;
    event.preventDefault();
    const keyOf = (fields) => fields.find(([name]) => name === "key")?.[1];
    // Pressed again: the first press counts, and it is on the shelf.
    if (form.dataset.sending || kept().some((f) => keyOf(f.fields) === form.elements.key?.value)) return;
    form.dataset.sending = "yes";
    const fields = [...new FormData(form, event.submitter)];
    fields.push(["pressed_ms", String(Math.round(bench.now()))]);
    const it = { to: form.getAttribute("action"), what: form.dataset.keep, from: location.pathname + location.search, fields };
    // On the shelf before it is sent: a page that is closed or a battery that ends loses nothing.
    put([...kept(), it]);
    busy = true;
    try {
      const answer = await post(it);
      if (later(answer)) throw new Error(answer.status);
      put(kept().filter((f) => f.fields.toString() !== it.fields.toString()));
      if (answer.ok && answer.redirected) return location.assign(answer.url);
      const fresh = await page(answer);
      document.getElementById("bench").replaceWith(fresh.getElementById("bench"));
      document.title = fresh.title;
      document.getElementById("bench").focus();
      scrollTo(0, 0);
    } catch {
      say();
      document.getElementById("kept").scrollIntoView({ block: "nearest" });
    } finally { busy = false; delete form.dataset.sending; }
  });

  say();
  send();
  addEventListener("online", send);
  setInterval(send, EVERY_MS);
})();
