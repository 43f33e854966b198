// Units that a reader may choose; what is stored and asked stays in the service's own.
const KEY = "motorfit-units";
const TURN = 30 / Math.PI;
export const CHOICES = {
  force: { title: "Thrust", options: [["N", "N"], ["g", "g (gram-force)"]] },
  length: { title: "Propellers", options: [["in", "inch"], ["mm", "mm"]] },
  speed: { title: "Speed", options: [["rpm", "rpm"], ["rad/s", "rad/s"]] },
};
const chosen = { force: "N", length: "in", speed: "rpm", look: "auto", ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };

export const setting = (name) => chosen[name];
export function choose(name, value) {
  chosen[name] = value;
  localStorage.setItem(KEY, JSON.stringify(chosen));
  wear();
  window.dispatchEvent(new Event("units"));
}
export function wear() {
  if (chosen.look === "auto") delete document.documentElement.dataset.look;
  else document.documentElement.dataset.look = chosen.look;
}

const FORCE = { N: [1, "N"], g: [1000 / 9.80665, "g"] };
// Factor and sign of a unit of the service as the reader wants it.
export function shown(unit) {
  if (unit === "N") return FORCE[chosen.force];
  if (unit === "rpm") return chosen.speed === "rpm" ? [1, "rpm"] : [1 / TURN, "rad/s"];
  if (unit === "rad/s") return chosen.speed === "rpm" ? [TURN, "rpm"] : [1, "rad/s"];
  if (unit === "in") return chosen.length === "in" ? [1, "in"] : [25.4, "mm"];
  if (unit === "ohm") return [1000, "mΩ"];
  if (unit === "N m/A") return [1000, "mN·m/A"];
  if (unit === "N m") return [1, "N·m"];
  if (unit === "kg m^2") return [1e7, "g·cm²"];
  if (unit === "degC") return [1, "°C"];
  if (unit === "1") return [1, ""];
  return [1, unit];
}

const ENDS = [["_rpm_per_s", "rpm/s"], ["_per_watt_g", "g/W"], ["_rpm", "rpm"], ["_nm", "N m"], ["_n", "N"],
  ["_a", "A"], ["_w", "W"], ["_v", "V"], ["_s", "s"], ["_c", "degC"]];
export function nameParts(name) {
  const [end, unit] = ENDS.find(([tail]) => name.endsWith(tail)) ?? ["", "1"];
  return { label: name.slice(0, name.length - end.length).replace("_per_watt", " per watt").replaceAll("_", " ")
    + (end === "_per_watt_g" ? " per watt" : ""), unit };
}

// As many digits as the doubt leaves: two of the interval's width.
export function digits(value, low, high) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const width = Math.abs((high ?? value) - (low ?? value));
  const size = Math.max(Math.abs(value), width);
  if (size === 0) return "0";
  const step = width > 0 ? Math.floor(Math.log10(width)) - 1 : Math.floor(Math.log10(size)) - 3;
  if (size >= 1e6 || size < 1e-4) return value.toExponential(Math.max(0, Math.min(6, Math.floor(Math.log10(size)) - step)));
  return value.toFixed(Math.max(0, Math.min(8, -step))).replace("-", "−");
}

export function interval(point, unit) {
  const [factor, sign] = shown(unit);
  const [m, l, u] = [point.median, point.low, point.high].map((v) => (v === null || v === undefined ? null : v * factor));
  return { middle: digits(m, l, u), range: `${digits(l, l, u)} … ${digits(u, l, u)}`, unit: sign };
}
