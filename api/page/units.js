// Units that a reader may choose; what is stored and asked stays in the service's own.
const KEY = "motorfit-units";
const TURN = 30 / Math.PI;
export const CHOICES = {
  force: { title: "Thrust", options: [["N", "N"], ["g", "g (gram-force)"]] },
  length: { title: "Propellers", options: [["in", "inch"], ["mm", "mm"]] },
  speed: { title: "Speed", options: [["rpm", "rpm"], ["rad/s", "rad/s"]] },
};
// The reader's own, and those in force: a link may name others, for its view alone.
const own = { force: "N", length: "in", speed: "rpm", look: "auto", ...JSON.parse(localStorage.getItem(KEY) ?? "{}") };
const chosen = { ...own };

export const setting = (name) => chosen[name];
export function choose(name, value) {
  own[name] = chosen[name] = value;
  localStorage.setItem(KEY, JSON.stringify(own));
  wear();
  window.dispatchEvent(new Event("units"));
}
// As an address holds them, “N,in,rpm”.
export const unitsText = () => Object.keys(CHOICES).map((name) => chosen[name]).join(",");
// Take those that an address names, else the reader's own; what is no unit is passed over.
export function adopt(text) {
  const named = (text ?? "").split(",");
  for (const [name, { options }] of Object.entries(CHOICES)) {
    chosen[name] = options.map(([unit]) => unit).find((unit) => named.includes(unit)) ?? own[name];
  }
}
export function wear() {
  if (chosen.look === "auto") delete document.documentElement.dataset.look;
  else document.documentElement.dataset.look = chosen.look;
}

const FORCE = { N: [1, "N"], g: [1000 / 9.80665, "g"] };
const turning = () => chosen.speed === "rpm";
const AS_CHOSEN = {
  N: () => FORCE[chosen.force],
  "N/g": () => (chosen.force === "N" ? [1000, "mN/g"] : [1000 / 9.80665, "g/g"]),
  "g/W": () => (chosen.force === "N" ? [9.80665, "mN/W"] : [1, "g/W"]),
  rpm: () => (turning() ? [1, "rpm"] : [1 / TURN, "rad/s"]),
  "rad/s": () => (turning() ? [TURN, "rpm"] : [1, "rad/s"]),
  "rpm/V": () => (turning() ? [1, "rpm/V"] : [1 / TURN, "rad/s/V"]),
  "rpm/s": () => (turning() ? [1, "rpm/s"] : [1 / TURN, "rad/s²"]),
  in: () => (chosen.length === "in" ? [1, "in"] : [25.4, "mm"]),
};
const FIXED = { ohm: [1000, "mΩ"], "N m/A": [1000, "mN·m/A"], "N m": [1, "N·m"], "N m/g": [1000, "mN·m/g"], "kg m^2": [1e7, "g·cm²"],
  degC: [1, "°C"], "1": [1, ""], share: [100, "%"], "A s/rad": [1000, "mA·s/rad"], "A s^2/rad^2": [1e6, "µA·s²/rad²"] };
const SHORT = /^(rise|fall|delay|lag)_/;
// Factor and sign of a unit of the service as the reader wants it; a throttle is a percentage wherever it is shown,
// and times that are always short are in ms.
export function shown(unit, name = "") {
  if (name === "throttle" && unit === "1") return [100, "%"];
  if (unit === "s" && SHORT.test(name)) return [1000, "ms"];
  return AS_CHOSEN[unit]?.() ?? FIXED[unit] ?? [1, unit];
}

// Sentences of the service in the same units: “0 to 21897 rpm”, “At throttle 0.92 to 1”.
const AMOUNT = /(-?\d[\d.]*(?:e[+-]?\d+)?)((?: to | and )(-?\d[\d.]*(?:e[+-]?\d+)?))? (rpm\/V|rpm|N|degC)(?![\w/·]| m\b)/g;
// “torque stays at 0.134275 (SI)”: the number with the unit of its channel.
const BARE = /\b(thrust|torque|speed|voltage|current|motor_current|motor_voltage)\b([^.;:(]*?)(-?\d[\d.]*(?:e[+-]?\d+)?) \(SI\)/gi;
const OF_CHANNEL = { thrust: [1, "N"], torque: [1, "N·m"], speed: [TURN, "rpm"], voltage: [1, "V"], current: [1, "A"], motor_current: [1, "A"], motor_voltage: [1, "V"] };
const named = (text) => text.replace(BARE, (all, channel, between, value) => {
  const [factor, sign] = OF_CHANNEL[channel.toLowerCase()];
  return `${channel}${between}${Number((value * factor).toPrecision(4))} ${sign}`;
}).replaceAll(" (SI)", "");
function rounded(text, factor) {
  if (factor === 1) return text.replace("-", "−");
  const places = Math.max(0, (text.split(".")[1] ?? "").length - Math.floor(Math.log10(factor)));
  return (Number(text) * factor).toFixed(Math.min(places, 4)).replace("-", "−");
}
export function worded(text) {
  return named(String(text)).replace(/\b([Tt]hrottle) (0(?:\.\d+)?|1(?:\.0+)?)( to (0(?:\.\d+)?|1(?:\.0+)?))?(?![\d.]*\d)/g, (all, word, low, rest, high) =>
    `${word} ${Number((100 * low).toFixed(1))}${rest ? ` to ${Number((100 * high).toFixed(1))}` : ""} %`)
    .replace(AMOUNT, (all, first, rest, second, unit) => {
      const [factor, sign] = shown(unit);
      return `${rounded(first, factor)}${rest ? `${rest.startsWith(" to") ? " to " : " and "}${rounded(second, factor)}` : ""}${sign === "°C" ? "\u00a0" : " "}${sign}`;
    }).replace(/(\d) milliohm\b/g, "$1 mΩ").replace(/(^|[\s(])-(?=\d)/g, "$1−").replace(/(\d) %/g, "$1\u00a0%");
}

const ENDS = [["_rpm_per_s", "rpm/s"], ["_per_watt_g", "g/W"], ["_rpm", "rpm"], ["_nm", "N m"], ["_n", "N"],
  ["_a", "A"], ["_w", "W"], ["_v", "V"], ["_s", "s"], ["_c", "degC"]];
export function nameParts(name) {
  const [end, unit] = ENDS.find(([tail]) => name.endsWith(tail)) ?? ["", "1"];
  return { label: name.slice(0, name.length - end.length).replaceAll("_", " ") + (end === "_per_watt_g" ? " per watt" : ""), unit };
}

// “26 November 2026, 03:10”, in the reader's own time and language.
export function moment(text) {
  const at = new Date(text);
  return Number.isNaN(at.getTime()) ? text : at.toLocaleString(undefined, { dateStyle: "long", timeStyle: "short" });
}

// As many digits as the doubt leaves: two of the interval's width.
export function digits(value, low, high) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const width = Math.abs((high ?? value) - (low ?? value));
  const size = Math.max(Math.abs(value), width);
  if (size === 0) return "0";
  const step = width > 0 ? Math.floor(Math.log10(width)) - 1 : Math.floor(Math.log10(size)) - 3;
  // 10252 rpm that are known to some thousands are 10300.
  const kept = step > 0 ? Math.round(value / 10 ** step) * 10 ** step : value;
  if (size >= 1e6 || size < 1e-4) return value.toExponential(Math.max(0, Math.min(6, Math.floor(Math.log10(size)) - step)));
  const text = kept.toFixed(Math.max(0, Math.min(8, -step)));
  return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−"); // what rounds to nothing has no sign
}

export function interval(point, unit, name = "") {
  const [factor, sign] = shown(unit, name);
  const [m, l, u] = [point.median, point.low, point.high].map((v) => (v === null || v === undefined ? null : v * factor));
  return { middle: digits(m, l, u), range: `${digits(l, l, u)} … ${digits(u, l, u)}`, unit: sign };
}
