// Answers of a prediction drawn: numbers at the throttle chosen, curves with bands, cautions beside them.
import { refusal } from "./asked.js";
import { h, notes, say, show } from "./dom.js";
import { band, colour, draw as plot, tint } from "./plot.js";
import { interval, nameParts, setting, shown, worded } from "./units.js";

const PANELS = ["thrust_n", "speed_rpm", "current_a", "electrical_power_w", "thrust_per_watt_g", "motor_efficiency"];
const NAMES = { current_a: "current from supply", electrical_power_w: "power from supply", motor_efficiency: "efficiency, shaft over supply",
  bus_voltage_v: "voltage at the controller", pack_current_a: "current of the whole pack" };
const labelOf = (name) => NAMES[name] ?? nameParts(name).label;

// Throttles at which the median speed stays within what the runs reached.
function tested(curves, span) {
  const speed = curves.speed_rpm.median;
  const within = (k) => speed[k] !== null && speed[k] !== undefined && speed[k] >= span[0] && speed[k] <= span[1];
  const inside = span ? [...curves.throttle.keys()].filter(within) : [];
  if (!inside.length) return null;
  // Between two points of the curve, where the line between them leaves the span.
  const edge = (k, next) => {
    if (speed[next] === null || speed[next] === undefined) return curves.throttle[k];
    const share = ((speed[next] > speed[k] ? span[1] : span[0]) - speed[k]) / (speed[next] - speed[k]);
    return curves.throttle[k] + share * (curves.throttle[next] - curves.throttle[k]);
  };
  return [edge(inside[0], inside[0] - 1), edge(inside.at(-1), inside.at(-1) + 1)];
}

function shapesOf(range, throttle) {
  const line = { type: "line", xref: "x", yref: "paper", x0: 100 * throttle, x1: 100 * throttle, y0: 0, y1: 1, line: { color: colour("ink"), width: 1, dash: "dash" } };
  if (!range) return [line];
  return [{ type: "rect", xref: "x", yref: "paper", x0: 100 * range[0], x1: 100 * range[1], y0: 0, y1: 1, layer: "below",
    line: { width: 1, dash: "dot", color: colour("quiet") }, fillcolor: tint(colour("quiet"), 0.12) }, line];
}

// Whether a caution speaks of a throttle: it names those it holds at, “At throttle 0.9 to 1 …”, or holds at all.
function holds({ message }, at) {
  const [, low, high] = /^At throttle (\d[\d.]*)(?: to (\d[\d.]*))?/.exec(message) ?? [];
  return low === undefined || (at >= Number(low) - 1e-6 && at <= Number(high ?? low) + 1e-6);
}

export function results(envelope) {
  const cautions = h("aside", { class: "cautions", "aria-label": "Cautions" });
  const readout = h("dl", { class: "readout" });
  const legend = h("p", { class: "quiet" }, "Asking … the very first answer after an installation takes some seconds.");
  const figures = PANELS.map((name) => {
    const node = h("div", { class: "plot", role: "img", "aria-label": `${labelOf(name)} over throttle, with its band; the numbers at the chosen throttle stand above` });
    return { name, node, figure: h("figure", {}, node) };
  });
  const grid = h("div", { class: "grid" }, figures.map((f) => f.figure));
  const place = h("div", { class: "beside" }, readout, cautions, h("div", { class: "curves" }, legend, grid));
  let last = "";

  function warn(warnings, at, quietly) {
    const [here, elsewhere] = [warnings.filter((w) => holds(w, at)), warnings.filter((w) => !holds(w, at))];
    const count = (list) => (list.length ? `${list.length} ${list.length === 1 ? "caution" : "cautions"}` : "No caution");
    const percent = Math.round(100 * at);
    const head = `${count(here)} at ${percent} % throttle${elsewhere.length ? `, ${elsewhere.length} at other throttles` : ""}`;
    const told = (list) => notes(list.map((w) => ({ level: "warning", kind: "Caution", text: worded(w.message) })));
    show(cautions, h("h2", {}, `${count(here)} at ${percent} % throttle`), told(here), elsewhere.length ? [h("h3", {}, `${count(elsewhere)} at other throttles`), told(elsewhere)] : null,
      h("p", { class: "quiet" }, "A prediction warns, it never certifies. Stay below the maker's speed limit of the propeller, and clear of its plane."));
    const text = [head, ...warnings.map((w) => w.code)].join();
    if (!quietly && text !== last) { last = text; say(head); }
  }

  // What is out of sight is drawn once the slider rests, and `stale()` tells that no newer question waits.
  async function paint(answer, at, moving, stale) {
    const c = answer.curves;
    const index = c.throttle.reduce((best, t, k) => (Math.abs(t - at) < Math.abs(c.throttle[best] - at) ? k : best), 0);
    const withIt = envelope.propellers?.[answer.propeller];
    const reached = (withIt ?? envelope.overall)?.speed_rpm;
    grid.hidden = false;
    warn(answer.warnings, c.throttle[index], moving);
    const names = [...PANELS, ...["torque_nm", "bus_voltage_v", "pack_current_a"].filter((n) => c[n])];
    show(readout, names.map((name) => {
      const text = interval({ median: c[name].median[index], low: c[name].low[index], high: c[name].high[index] }, nameParts(name).unit);
      return h("div", { "data-curve": name }, h("dt", {}, labelOf(name)), h("dd", {}, `${text.middle} ${text.unit}`, h("small", {}, text.range)));
    }));
    readout.dataset.throttle = String(Math.round(100 * c.throttle[index]));
    const speeds = reached?.map((v) => Math.round(v * shown("rpm")[0]));
    const span = speeds ? ` (${speeds[0]} to ${speeds[1]} ${setting("speed")})` : "";
    legend.textContent = `Numbers: median and 90 % interval at ${readout.dataset.throttle} % throttle. Curves: line and band are the same over throttle, dashed the throttle chosen; `
      + (speeds ? `shaded with dotted edges are speeds tested with ${withIt ? "this propeller" : "other propellers, not with this one"}${span}.` : "nothing is shaded: this fit does not say which speeds were tested.");
    const shapes = shapesOf(tested(c, reached), c.throttle[index]);
    const x = c.throttle.map((t) => 100 * t);
    const one = ({ name, node }) => {
      const [factor, mark] = shown(nameParts(name).unit);
      return plot(node, band(x, c[name], { factor, name: labelOf(name) }), { x: "throttle [%]", y: mark ? `${labelOf(name)} [${mark}]` : labelOf(name).split(",")[0], shapes });
    };
    const seen = figures.filter(({ figure }) => { const r = figure.getBoundingClientRect(); return r.bottom > 0 && r.top < window.innerHeight; });
    await Promise.all(seen.map(one));
    readout.dataset.answered = String(Number(readout.dataset.answered ?? 0) + 1);
    if (moving) return;
    // After the frame that shows these; the reader may move on meanwhile.
    await new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve)));
    for (const figure of figures) if (!seen.includes(figure) && !stale()) await one(figure);
  }

  // Numbers and curves of another question do not stand beside an error.
  function fail(error) {
    show(readout);
    legend.textContent = "";
    grid.hidden = true;
    show(cautions, notes([{ level: "error", kind: "No answer", text: refusal(error) }]));
  }
  return { place, paint, fail };
}
