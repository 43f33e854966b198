// Block means of each run with the fitted model's band over them, residuals beneath.
import { h, notes, show } from "./dom.js";
import { getOnce } from "./http.js";
import { band, colour, draw } from "./plot.js";
import { shown, worded } from "./units.js";

function abscissa(run) {
  const middle = run.start_s.map((start, k) => (start === null ? null : (start + run.end_s[k]) / 2));
  if (middle.every((v) => v !== null) && middle.at(-1) > middle[0]) return [middle, "time [s]"];
  for (const name of ["throttle", "speed"]) {
    const channel = run.channels[name];
    if (channel?.observed.every((v) => v !== null)) {
      const [factor, unit] = shown(channel.unit, name);
      return [channel.observed.map((v) => v * factor), unit ? `${name} [${unit}]` : name];
    }
  }
  return [run.start_s.map((_, k) => k + 1), "row"];
}

// What was logged and its model are in sight in full; a band far wider than both, as at a jump, leaves the plot.
export function span(values, band) {
  const known = values.filter((v) => v !== null && v !== undefined);
  if (!known.length) return undefined;
  let [low, high] = [Math.min(...known), Math.max(...known)];
  const room = 0.5 * (high - low) || 0.05 * Math.abs(high) || 1;
  const edges = [...band.low, ...band.high].filter((v) => v !== null);
  low = Math.max(Math.min(low, ...edges), low - room);
  high = Math.min(Math.max(high, ...edges), high + room);
  return [low - 0.06 * (high - low), high + 0.06 * (high - low)];
}

async function panel(node, run, name) {
  const channel = run.channels[name];
  const [factor, unit] = shown(channel.unit, name);
  const [x, title] = abscissa(run);
  const order = x.map((_, k) => k).sort((a, b) => x[a] - x[b]);
  const pick = (values, times = factor) => order.map((k) => (values[k] === null ? null : values[k] * times));
  const at = pick(x, 1);
  const seen = pick(channel.observed);
  const fitted = { low: pick(channel.fitted.low), median: pick(channel.fitted.median), high: pick(channel.fitted.high) };
  const off = (values) => values.map((v, k) => (v === null || fitted.median[k] === null ? null : v - fitted.median[k]));
  const dots = { x: at, mode: "markers", marker: { size: 5, color: "rgba(0,0,0,0)", line: { color: colour("ink"), width: 1 } }, name: "logged" };
  const rest = { low: off(fitted.low), median: fitted.median.map(() => 0), high: off(fitted.high) };
  const label = name.replaceAll("_", " ");
  await draw(node, [...band(at, fitted, { name: "model" }), { ...dots, y: seen, yaxis: "y" },
    ...band(at, rest, { axis: "2", dash: "dot" }), { ...dots, y: off(seen), yaxis: "y2", name: "logged − model" }],
  { x: title, y: unit ? `${label} [${unit}]` : label, height: 320,
    more: { yaxis: { domain: [0.42, 1], range: span([...seen, ...fitted.median], fitted) },
      yaxis2: { title: unit ? `residual [${unit}]` : "residual", domain: [0, 0.32], nticks: 4, range: span(off(seen), rest) } } });
}

export async function drawRuns(place, path, kinds, signal) {
  try {
    const { runs, interval } = await getOnce(path);
    place.append(h("p", { class: "quiet" }, `Circles: block means of the log. Line and band: median and ${Math.round(100 * interval)} % of what the fitted model would log. Beneath: the log less that median. A band far wider than the log goes on beyond the plot.`));
    runs.forEach((run, index) => {
      const inner = h("div", { class: "grid" });
      const box = h("details", {}, h("summary", {}, run.run, h("span", { class: "quiet" }, [null, kinds[run.run]?.kind, kinds[run.run]?.propeller].filter((v, k) => k === 0 || v).join(" · "))), inner);
      let drawn = false;
      box.addEventListener("toggle", () => {
        if (!box.open || drawn) return;
        drawn = true;
        for (const [name, channel] of Object.entries(run.channels)) {
          if (!channel.fitted) continue;
          const node = h("div", { class: "plot", role: "img", "aria-label": `${name.replaceAll("_", " ")} of run ${run.run}: log, model with band, residuals` });
          inner.append(h("figure", {}, node));
          panel(node, run, name).catch((error) => show(node, error.message));
        }
      });
      place.append(box);
      box.open = index === 0 && !signal.aborted;
    });
  } catch (error) {
    if (!signal.aborted) place.append(notes([{ level: "error", text: worded(error.message) }]));
  }
}
