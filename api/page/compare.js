// Motors side by side; the address holds the question, so that a link shows the same view.
import { barRow, reach } from "./bars.js";
import { field, h, notes, show } from "./dom.js";
import { ask, getOnce, pages } from "./http.js";
import { digits, shown } from "./units.js";

const WEIGHED = ["max_thrust_n", "max_thrust_n_per_gram", "peak_efficiency", "winding_resistance", "rotor_inertia", "rise_time_s", "hover_power_w"];
const word = (name) => name.replace(/_(n|a|nm|s|w)(?=_per_gram|$)/, "").replaceAll("_", " ");
const chance = (p) => (p > 0.999 ? "> 99.9 %" : p < 0.001 ? "< 0.1 %" : `${(100 * p).toFixed(1)} %`);

function metricCard(metric, names) {
  const points = names.map((n) => [n, metric.motors[n]]).filter(([, p]) => p);
  const range = reach(points.map(([, p]) => p));
  const better = metric.better === "more" ? " · more is better" : metric.better === "less" ? " · less is better" : "";
  const [factor, sign] = shown(metric.unit);
  return h("section", { class: "card", "data-metric": metric.name }, h("h3", {}, word(metric.name)),
    h("table", { class: "bars" }, h("caption", {}, `${metric.unit === "1" ? "ratio" : sign}${better}`), h("tbody", {}, points.map(([n, p]) => barRow(n, p, metric.unit, range)))),
    metric.differences.map((d) => {
      const [m, l, u] = [d.median, d.low, d.high].map((v) => (v === null ? null : v * factor));
      return h("p", { "data-pair": `${d.first} ${d.second}` }, h("strong", {}, `${d.first} − ${d.second}: ${digits(m, l, u)}`), ` (${digits(l, l, u)} … ${digits(u, l, u)}). `,
        d.text ?? "", d.probability_first_greater === null ? "" : ` Probability that the first is greater: ${chance(d.probability_first_greater)}.`);
    }),
    metric.ranks ? h("p", { class: "quiet" }, "Probability of the first rank: ", names.filter((n) => metric.ranks[n]).map((n) => `${n} ${chance(metric.ranks[n][0])}`).join(", "), ".") : null);
}

function scoreCard(score, names) {
  if (!score) return null;
  const per = score.motors;
  const points = names.filter((n) => per[n]?.median !== undefined).sort((a, b) => per[b].median - per[a].median);
  return h("section", { class: "card", "data-metric": "score" }, h("h2", {}, "Score by your weights"),
    points.length ? h("table", { class: "bars" }, h("tbody", {}, points.map((n) => barRow(n, per[n], "1", reach(points.map((k) => per[k])))))) : null,
    score.note ? h("p", {}, score.note) : null,
    score.ranks ? h("p", { class: "quiet" }, "Probability of the first rank: ", names.filter((n) => score.ranks[n]).map((n) => `${n} ${chance(score.ranks[n][0])}`).join(", "), ".") : null);
}

export async function draw(place, { query, signal }) {
  const held = await pages("/v1/motors", "motors");
  const wanted = query.getAll("motors");
  const propellers = [...new Set((await pages("/v1/propellers", "propellers")).map((p) => p.propeller))];
  const boxes = held.map((m) => h("label", { class: "tick" }, h("input", { type: "checkbox", value: m.motor, checked: wanted.includes(m.motor) }), m.motor));
  const list = h("datalist", { id: "propellers" }, propellers.map((p) => h("option", { value: p })));
  const propeller = h("input", { list: "propellers", value: query.get("propeller") ?? propellers[0] ?? "", placeholder: "7x3.5x3" });
  let volts = query.get("voltage");
  if (!volts && held.length) {
    const first = held.find((m) => wanted.includes(m.motor)) ?? held[0];
    const top = (await getOnce(`/v1/fits/${encodeURIComponent(first.latest)}`)).facts.envelope?.overall?.voltage_v?.[1];
    volts = top ? top.toFixed(1) : "";
  }
  const voltage = h("input", { type: "number", min: 0.1, step: "any", value: volts ?? "" });
  const weights = WEIGHED.map((name) => [name, h("input", { type: "number", min: 0, step: "any", value: query.get(`w.${name}`) ?? "" })]);
  const answer = h("div", { "aria-live": "polite" });
  const submit = (event) => {
    event.preventDefault();
    const q = new URLSearchParams();
    for (const box of boxes) { const tick = box.querySelector("input"); if (tick.checked) q.append("motors", tick.value); }
    if (propeller.value) q.set("propeller", propeller.value);
    if (voltage.value) q.set("voltage", voltage.value);
    for (const [name, input] of weights) if (Number(input.value) > 0) q.set(`w.${name}`, input.value);
    q.set("go", "1");
    if (location.hash === `#/compare?${q}`) window.dispatchEvent(new Event("hashchange"));
    else location.hash = `#/compare?${q}`;
  };
  show(place, h("h1", {}, "Compare"), h("form", { class: "card", onsubmit: submit },
    h("fieldset", {}, h("legend", {}, "Motors, at most eight"), h("div", { class: "row" }, boxes)),
    h("div", { class: "row" }, field("On one propeller (an id, or D x P x B in inches)", propeller), list, field("Voltage [V]", voltage)),
    h("details", { open: weights.some(([, i]) => i.value) }, h("summary", {}, "Weights of your own"), h("p", { class: "quiet" }, "Left empty: not in the score."),
      h("div", { class: "row" }, weights.map(([name, input]) => field(word(name), input)))),
    h("p", {}, h("button", { class: "main" }, "Compare"))), answer);
  if (!wanted.length || !query.get("go")) return undefined;
  const body = { motors: wanted };
  if (query.get("propeller")) Object.assign(body, { propeller: query.get("propeller"), voltage: Number(query.get("voltage")) });
  const own = Object.fromEntries(weights.filter(([, i]) => Number(i.value) > 0).map(([n, i]) => [n, Number(i.value)]));
  if (Object.keys(own).length) body.weights = own;
  show(answer, h("p", { class: "quiet" }, "Comparing …"));
  try {
    const found = await ask("/v1/comparisons", body, signal);
    const told = [...found.warnings.map((w) => ({ level: "warning", kind: w.motor ?? "Caution", text: w.message })), ...found.notes.map((n) => ({ text: n.message }))];
    show(answer, h("h2", {}, `${found.motors.join(", ")}${body.propeller ? ` on ${body.propeller} at ${body.voltage} V` : ""}`),
      h("p", { class: "quiet" }, "The address of this page shows the same view again. Bars: 90 % intervals."),
      notes(told), scoreCard(found.score, found.motors), h("div", { class: "grid cards" }, found.metrics.map((m) => metricCard(m, found.motors))),
      found.claims?.length ? h("section", {}, h("h2", {}, "Labels"), h("ul", {}, found.claims.map((c) => h("li", {}, c.text)))) : null,
      h("p", { class: "quiet" }, "A comparison warns, it never certifies."));
  } catch (error) {
    if (!signal.aborted) show(answer, notes([{ level: "error", kind: "No answer", text: error.message }]));
  }
  return undefined;
}
