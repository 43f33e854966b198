// Intervals as bars: plain drawings in table rows, with the numbers beside them as text.
import { h, s } from "./dom.js";
import { interval } from "./units.js";

export const KEY_PARAMETERS = [["kv", "K_v"], ["kt", "K_t"], ["winding_resistance", "R"], ["no_load_current", "I_0"], ["rotor_inertia", "J_m"]];

const finite = (...values) => values.every((v) => v !== null && v !== undefined && Number.isFinite(v));

export function reach(points) {
  const ends = points.flatMap((p) => [p.low, p.high]).filter((v) => finite(v));
  if (!ends.length) return [0, 1];
  const [low, high] = [Math.min(...ends), Math.max(...ends)];
  const room = 0.06 * (high - low) || 0.05 * Math.abs(high) || 1;
  return [low - room, high + room];
}

export function bar(point, range, { prior, learned = true } = {}) {
  const at = (value) => 100 * Math.min(1, Math.max(0, (value - range[0]) / (range[1] - range[0])));
  const drawing = s("svg", { viewBox: "0 0 100 20", preserveAspectRatio: "none", "aria-hidden": "true", focusable: "false" });
  if (prior && finite(prior.low, prior.high)) {
    drawing.append(s("rect", { class: "prior", x: at(prior.low), y: 4, width: Math.max(0.5, at(prior.high) - at(prior.low)), height: 12 }));
  }
  if (finite(point.low, point.high, point.median)) {
    const [low, high] = [at(point.low), at(point.high)];
    drawing.append(s("line", { class: learned ? "line" : "line unlearned", x1: low, x2: Math.max(high, low + 0.4), y1: 10, y2: 10 }),
      s("rect", { class: "middle", x: at(point.median) - 0.5, y: 4, width: 1, height: 12 }));
  }
  return drawing;
}

// Roles are named, since on a phone a row is laid out as a grid, which would cost the table its meaning.
export function barRow(label, point, unit, range, more = {}) {
  const text = interval(point, unit, more.name);
  return h("tr", { role: "row" }, h("th", { scope: "row", role: "rowheader" }, label, more.hint ? h("small", {}, more.hint) : null),
    h("td", { class: "bar", role: "cell" }, bar(point, range, more)),
    h("td", { role: "cell" }, `${text.middle} ${text.unit}`, h("br"), h("span", { class: "quiet" }, text.range, more.learned === false ? h("span", { class: "unlearned" }, " · not learned") : ""),
      more.prior && finite(more.prior.low, more.prior.high) ? h("span", { class: "before" }, "before: ", interval(more.prior, unit, more.name).range) : null));
}

export function bars(caption, rows, more = {}) {
  return h("table", { class: `bars ${more.class ?? ""}`, role: "table" }, caption ? h("caption", { class: more.unseen ? "unseen" : null }, caption) : null, h("tbody", { role: "rowgroup" }, rows));
}
