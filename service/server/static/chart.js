// Reads a chart out: the air at the time under the finger, the pointer, or the slider.
"use strict";

for (const figure of document.querySelectorAll(".readout")) {
  const { zone, from, to, left, right, timeZone, temp } = figure.dataset;
  const [sheet, reader, output] = [".sheet", ".reader", "output"].map((s) => figure.querySelector(s));
  const slider = reader.querySelector("input");
  const cursor = Object.assign(document.createElement("div"), { className: "cursor", hidden: true });
  sheet.append(cursor);
  reader.hidden = false;

  const at = (ms) => encodeURIComponent(new Date(ms).toISOString());
  let asked;
  const points = () => asked ??= fetch(`/api/v1/zones/${zone}/series?from=${at(+from)}&to=${at(+to)}`)
    .then((answer) => answer.json())
    .then((series) => [
      ...series.means.map((m) => ({ ms: Date.parse(m.from) + 450000, temp_c: m.temp_c[0], rh_pct: m.rh_pct[0], how: "mean" })),
      ...series.recorded.map((p) => ({ ...p, ms: Date.parse(p.at), how: "recorded" })),
      ...series.expected.map((p) => ({ ...p, ms: Date.parse(p.at), how: "expected" })),
    ])
    .catch(() => { asked = undefined; return []; });

  const degrees = (c) => `${(temp === "°F" ? c * 9 / 5 + 32 : c).toFixed(1)} ${temp}`;
  const hour = (ms) => new Date(ms).toLocaleString("en-GB", { timeZone, weekday: "short", hour: "2-digit", minute: "2-digit" });

  const read = async (share) => {
    const ms = +from + share * (+to - +from);
    const all = await points();
    const near = all.reduce((best, p) => (Math.abs(p.ms - ms) < Math.abs(best.ms - ms) ? p : best), { ms: -Infinity });
    cursor.hidden = false;
    cursor.style.setProperty("left", `${(+left + share * (right - left)) * 100}%`);
    if (Math.abs(near.ms - ms) > 3 * 3600000) { output.textContent = `${hour(ms)}: nothing was read`; return; }
    const dew = near.dew_point_c == null ? "" : `, dew point ${degrees(near.dew_point_c)}`;
    const emc = near.emc_pct == null ? "" : `, EMC ${near.emc_pct.toFixed(1)} % MC`;
    const spread = () => temp === "°F" ? `${(near.spread_k * 9 / 5).toFixed(1)} °F` : `${near.spread_k.toFixed(1)} K`;
    const band = near.how === "expected" ? `, within ${spread()} and ${near.spread_rh_pct.toFixed(0)} %` : "";
    output.textContent = `${hour(near.ms)}, ${near.how}: ${degrees(near.temp_c)}, ${near.rh_pct.toFixed(0)} % RH${dew}${emc}${band}`;
  };

  slider.addEventListener("input", () => read(slider.value / 1000));
  sheet.addEventListener("pointermove", (event) => {
    const box = sheet.getBoundingClientRect();
    const share = ((event.clientX - box.left) / box.width - left) / (right - left);
    if (share < 0 || share > 1) return;
    slider.value = share * 1000;
    read(share);
  });
}
