// Reads a chart out: what it shows at the time under the finger, the pointer, or the slider. The air of a zone is asked of
// the service; a trial is on no disk, so its numbers stand in the page.
"use strict";

(() => {
  const hour = (ms, timeZone) =>
    new Date(ms).toLocaleString("en-GB", { timeZone, weekday: "short", hour: "2-digit", minute: "2-digit" });
  const after = (h) => `after ${h < 1 ? `${Math.round(h * 60)} min` : `${h.toFixed(1)} h`}`;
  const degrees = (c, sign) => `${(sign === "°F" ? c * 9 / 5 + 32 : c).toFixed(1)} ${sign}`;

  // What was asked of the service, so that it is asked once for each figure.
  const asked = new WeakMap();
  const series = (figure) => {
    const { zone, from, to } = figure.dataset;
    const at = (ms) => encodeURIComponent(new Date(ms).toISOString());
    const points = async () => {
      const answer = await fetch(`/api/v1/zones/${zone}/series?from=${at(+from)}&to=${at(+to)}`);
      if (!answer.ok) throw new Error(answer.status);
      const { means, recorded, expected } = await answer.json();
      return [
        ...means.map((m) => ({ ms: Date.parse(m.from) + 450000, temp_c: m.temp_c[0], rh_pct: m.rh_pct[0], how: "mean" })),
        ...recorded.map((p) => ({ ...p, ms: Date.parse(p.at), how: "recorded" })),
        ...expected.map((p) => ({ ...p, ms: Date.parse(p.at), how: "expected" })),
      ];
    };
    if (!asked.has(figure)) asked.set(figure, points().catch((e) => { asked.delete(figure); throw e; }));
    return asked.get(figure);
  };

  const air = async (figure, share) => {
    const { from, to, timeZone, temp } = figure.dataset;
    const ms = +from + share * (+to - +from);
    const near = (await series(figure))
      .reduce((best, p) => (Math.abs(p.ms - ms) < Math.abs(best.ms - ms) ? p : best), { ms: -Infinity });
    if (Math.abs(near.ms - ms) > 3 * 3600000) return `${hour(ms, timeZone)}: nothing was read`;
    const dew = near.dew_point_c == null ? "" : `, dew point ${degrees(near.dew_point_c, temp)}`;
    const emc = near.emc_pct == null ? "" : `, EMC ${near.emc_pct.toFixed(1)} % MC`;
    const spread = () => temp === "°F" ? `${(near.spread_k * 9 / 5).toFixed(1)} °F` : `${near.spread_k.toFixed(1)} K`;
    const band = near.how === "expected" ? `, within ${spread()} and ${near.spread_rh_pct.toFixed(0)} %` : "";
    return `${hour(near.ms, timeZone)}, ${near.how}: ${degrees(near.temp_c, temp)}, ${near.rh_pct.toFixed(0)} % RH${dew}${emc}${band}`;
  };

  const trial = (figure, share) => {
    const points = JSON.parse(figure.dataset.points);
    const { hours, temp_c, rh_pct, draft, beside } = points[Math.round(share * (points.length - 1))];
    const says = (who, p) => p && `${who}: rate ${p.rate.toFixed(3)}, age ${p.age_h.toFixed(2)} h` +
      (p.strength == null ? "" : `, strength ${(100 * p.strength).toFixed(0)} %`);
    const said = `${after(hours)} in ${degrees(temp_c, figure.dataset.temp)}, ${rh_pct.toFixed(0)} % RH`;
    return [said, says("draft", draft), says("in force", beside)].filter(Boolean).join("; ");
  };

  // Of two drawings, one for a phone and one for a wall, the one that is seen.
  const seen = (figure) => [...figure.querySelectorAll(".chart")].find((chart) => chart.clientWidth > 0);

  const read = async (figure, share) => {
    const [sheet, output] = [".sheet", "output"].map((s) => figure.querySelector(s));
    const { left, right } = seen(figure).dataset;
    const cursor = sheet.querySelector(".cursor")
      ?? sheet.appendChild(Object.assign(document.createElement("div"), { className: "cursor" }));
    cursor.style.setProperty("left", `${(+left + share * (right - left)) * 100}%`);
    figure.dataset.at = share;
    let says;
    try { says = figure.dataset.points ? trial(figure, share) : await air(figure, share); }
    catch { says = "The service does not answer; nothing can be read out just now."; }
    // A slow answer is not put over a later one.
    if (figure.dataset.at === String(share)) output.textContent = says;
  };

  // Heard on the whole page: a trial's chart comes and goes while the page stands.
  addEventListener("input", ({ target }) => {
    if (target.matches(".reader input")) read(target.closest("figure"), target.value / target.max);
  });
  const point = ({ target, clientX }) => {
    const figure = target.closest?.(".readout .sheet")?.closest("figure");
    if (!figure) return;
    const chart = seen(figure), box = chart.getBoundingClientRect(), { left, right } = chart.dataset;
    const share = ((clientX - box.left) / box.width - left) / (right - left);
    if (share < 0 || share > 1) return;
    const slider = figure.querySelector(".reader input");
    slider.value = share * slider.max;
    read(figure, share);
  };
  addEventListener("pointermove", point);
  addEventListener("pointerdown", point);
})();
