// Checks a rule as it is typed, colours it and numbers its lines, and tries it without leaving the page. What is a word, and
// what is wrong, the service says: there is no grammar here.
"use strict";
(() => {
  const text = document.getElementById("text"), words = document.getElementById("words"),
    checked = document.getElementById("checked"), numbers = document.getElementById("numbers"),
    there = document.getElementById("there"), form = text?.form;
  if (!text) return;
  let asked = 0, waiting, trying = false;

  const number = (lines, wrong) => {
    const rows = document.createDocumentFragment();
    for (let n = 1; n <= lines; n += 1) {
      const row = document.createElement("span");
      if (n === wrong) row.className = "at";
      row.textContent = n;
      rows.append(row, "\n");
    }
    numbers.replaceChildren(rows);
  };

  const colour = (source, spans, fault) => {
    // Spans are counted in characters, not in the units of a string.
    const letters = Array.from(source), parts = document.createDocumentFragment();
    let at = 0;
    const plain = (to) => { if (to > at) parts.append(letters.slice(at, to).join("")); at = Math.max(at, to); };
    for (const { from, to, word } of spans) {
      plain(from);
      const span = document.createElement("span");
      span.className = "w-" + word;
      span.textContent = letters.slice(at, to).join("");
      parts.append(span);
      at = to;
    }
    plain(letters.length);
    parts.append("\n");
    words.replaceChildren(parts);
    words.dataset.line = fault ? fault.line : 0;
    number(source.split("\n").length, fault?.line);
    there.hidden = !fault?.line;
  };

  const say = (answer) => {
    const fault = answer.faults[0], bad = answer.expected.find((row) => !row.met);
    const place = fault && fault.line ? `line ${fault.line}, column ${fault.column}: ` : "";
    if (fault) checked.textContent = `${place}${fault.what}. ${fault.mend}.`;
    else if (bad) checked.textContent = `Expected row ${bad.row} (${bad.stage} at ${bad.temp_c} °C, ${bad.rh_pct} % RH) ` +
      `is ${bad.hours === null ? "never" : bad.hours + " h"}, but the rule gives ` +
      `${bad.gives_h === null ? "never" : bad.gives_h.toFixed(3) + " h"}.`;
    else checked.textContent = `Good: its own ${answer.expected.length} expected value(s) hold.`;
    checked.className = fault || bad ? "warn" : "quiet";
  };

  const check = async () => {
    const mine = ++asked, source = text.value;
    try {
      const answer = await fetch("/api/v1/rules/check", {
        method: "POST", headers: { "content-type": "application/json" },
        body: JSON.stringify({ material: text.dataset.material, text: source }),
      });
      const said = await answer.json();
      // A later letter was typed meanwhile: its answer counts.
      if (mine !== asked) return;
      if (!answer.ok) { checked.textContent = said.detail; checked.className = "warn"; return; }
      colour(source, said.words, said.faults[0]);
      say(said);
    } catch { checked.textContent = "The service does not answer; the text is not checked."; checked.className = "warn"; }
  };

  const follow = () => {
    words.scrollTop = numbers.scrollTop = text.scrollTop;
    words.scrollLeft = text.scrollLeft;
  };
  there.firstElementChild.addEventListener("click", () => {
    const before = text.value.split("\n").slice(0, words.dataset.line - 1).join("\n");
    const from = before.length + (before ? 1 : 0);
    text.focus();
    text.setSelectionRange(from, from);
    const lines = text.value.split("\n").length;
    text.scrollTop = (words.dataset.line - 1) / lines * text.scrollHeight - text.clientHeight / 2;
    follow();
  });

  // Tried without leaving the page: what the form would have led to is put in its place. The editor stays as it is.
  form.addEventListener("submit", async (event) => {
    const button = event.submitter;
    if (!button?.hasAttribute("formaction")) return;
    event.preventDefault();
    // Pressed twice is meant once; the button keeps the keyboard.
    if (trying) return;
    trying = true;
    try {
      const answer = await fetch(button.formAction, {
        method: "POST", body: new URLSearchParams(new FormData(form)), headers: { accept: "text/html" },
      });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const places = (page) => [...page.querySelectorAll("#tried, main [role=alert]")];
      for (const old of places(document)) old.remove();
      const [came] = places(fresh);
      came.tabIndex = -1;
      form.after(came);
      came.focus();
      came.scrollIntoView();
    } catch { checked.textContent = "The service does not answer; nothing was tried."; checked.className = "warn"; }
    trying = false;
  });
  text.addEventListener("scroll", follow);
  text.addEventListener("input", () => {
    // Until the answer is there the letters themselves must be seen.
    colour(text.value, [], null);
    follow();
    clearTimeout(waiting);
    waiting = setTimeout(check, 300);
  });
  // The letters of the field are see-through from here on: they stand beneath at once, whether or not it can be checked.
  colour(text.value, [], null);
  document.body.classList.add("coloured");
  check();
})();
