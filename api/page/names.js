// Names of parameters for readers: a symbol, and a few words that need no formula.
import { h } from "./dom.js";

const WORDS = {
  kv: "speed per volt", kt: "torque per ampere", kt_kv_ratio: "K_t times K_v, ideally 1", no_load_current: "no-load current",
  drag_current_static: "no-load current, constant part", drag_current_slope: "no-load current, part with speed",
  drag_current_windage: "no-load current, part with speed squared", prop_inertia: "inertia", braking_share: "braking let through",
  thrust_reynolds_exponent: "thrust, growth with speed", torque_reynolds_exponent: "torque, growth with speed",
  duty_slope: "duty per throttle near full", duty_curvature: "duty, curvature", duty_cubic: "duty, cubic part",
};
const SENSOR = { jump: "lateness at jumps" };
const GREEK = { psi: "ψ", omega: "ω", tau: "τ", alpha: "α", rho: "ρ", eta: "η" };

// “thrust_coefficient[p7x35x3]” is the thrust coefficient of p7x35x3.
export function split(name) {
  const [, base, of] = /^([^[]*)(?:\[(.*)\])?$/.exec(name) ?? [null, name, undefined];
  return { base, of };
}

export function words(name) {
  const { base, of } = split(name);
  const [, sort, channel] = /^(gain|offset|delay|lag|jump)_(.*)$/.exec(base) ?? [];
  const plain = WORDS[base] ?? (sort ? `${SENSOR[sort] ?? sort} of the ${channel} sensor` : base).replaceAll("_", " ");
  return of ? `${plain} of ${of}` : plain;
}

function parts(symbol) {
  const [stem, ...below] = symbol.split("_");
  return [GREEK[stem] ?? stem, below.map((p) => GREEK[p] ?? p).join(",")];
}
export function symbol(text) {
  const [stem, below] = parts(text);
  return h("span", { class: "symbol" }, stem, below ? h("sub", {}, below) : null);
}
// Words with symbols and powers among them, “K_t times K_v”, “C_T^1.5”, as elements.
const lettersIn = (text) => text.split(/\b([A-Za-z]{1,2}_(?:[A-Za-z]|ref)\b)/).map((part, k) => (k % 2 ? symbol(part) : part));
export const lettered = (text) => String(text).split(/\^(\d[\d.]*|[a-z]{1,2}_[A-Za-z])/).map((part, k) => (k % 2 ? h("sup", {}, lettersIn(part)) : lettersIn(part)));
// The same as the plotting library writes it; symbols come from the service's own table.
export function axisSymbol(text) {
  const [stem, below] = parts(text);
  return below ? `${stem}<sub>${below}</sub>` : stem;
}
// Formulas in meanings, with the letters that are meant.
export const meaning = (text) => String(text).replace(/\b(rho|pi|psi|eta)\b/g, (all, name) => ({ ...GREEK, pi: "π" })[name])
  .replace(/\^2\b/g, "²").replace(/\^4\b/g, "⁴").replace(/\^5\b/g, "⁵").replaceAll("degC", "°C").replace(/\bsqrt\(/g, "√(");
