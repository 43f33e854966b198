// What a comparison answered: a card for each figure, the score, what must be known beside them.
import { barRow, bars, reach } from "./bars.js";
import { h, notes } from "./dom.js";
import { lettered, words } from "./names.js";
import { digits, shown, worded } from "./units.js";

const FEW = 4; // motors up to which each is told of in full

// “max_thrust_n_per_gram” is max thrust per gram.
export const titleOf = (name) => words(name.replace(/_(n|a|nm|s|w)(?=_per_gram|$)/, ""));
const chance = (p) => (p > 0.999 ? ">\u00a099.9\u00a0%" : p < 0.001 ? "<\u00a00.1\u00a0%" : `${(100 * p).toFixed(1)}\u00a0%`);

function firsts(ranks, names, text) {
  // Of two motors the difference has said it already.
  if (!ranks || names.length < 3) return null;
  return h("p", { class: "quiet" }, text, names.filter((n) => ranks[n]).map((n) => `${n} (${chance(ranks[n][0])})`).join(", "), ".");
}

// Where three or more stand in a row, how likely each place is for each of them.
function places(ranks, names) {
  if (!ranks || names.length < 3 || names.length > 8) return null;
  return h("details", {}, h("summary", {}, "Every place"), h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Probability of every place" },
    h("table", {}, h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "motor"), names.map((_, k) => h("th", { scope: "col", class: "n" }, String(k + 1))))),
      h("tbody", {}, names.filter((n) => ranks[n]).map((n) => h("tr", {}, h("th", { scope: "row" }, n), ranks[n].map((p) => h("td", { class: "n" }, chance(p)))))))));
}

function dominance(found, names) {
  if (!found || names.length < 2) return null;
  const by = (p) => p.probability_first_dominates;
  const told = found.pairs.filter((p) => by(p) > (names.length > FEW ? 0.5 : 0.05)).sort((a, b) => by(b) - by(a)).slice(0, 12);
  return h("section", { class: "card", "data-metric": "dominance" }, h("h2", {}, "Beaten in everything?"),
    h("p", {}, "Probability that no other motor is better in every one of these figures: ", names.filter((n) => found.not_dominated[n] !== undefined).map((n, k) => [k ? ", " : "", h("strong", {}, n), ` ${chance(found.not_dominated[n])}`]), "."),
    told.map((p) => h("p", {}, `${p.first} is better than ${p.second} in all of them with probability ${chance(p.probability_first_dominates)}.`)),
    h("p", { class: "quiet" }, `Judged by ${found.metrics.map(titleOf).join(", ")}. A motor that is beaten in all of them needs another reason to be chosen.`));
}

const CLAIMED = { speed_rpm: "rpm", thrust_n: "N", current_a: "A", torque_nm: "N m" };
function claimedTable(table) {
  const rows = Object.values(table.columns)[0]?.claimed.map((_, k) => k) ?? [];
  const columns = Object.entries(table.columns).map(([name, c]) => ({ name, c, unit: shown(CLAIMED[name]) }));
  const plain = (value, factor) => (value === null ? "–" : digits(value * factor));
  return [columns.map(({ c }) => h("p", {}, worded(c.text).replace(/\b(?:speed_rpm|thrust_n|current_a|torque_nm)\b/g, titleOf))),
    h("details", {}, h("summary", {}, `Rows of ${table.table}, of ${table.motor}`), h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": `Rows of ${table.table}` }, h("table", {},
      h("caption", {}, "Claimed, predicted for another unit, and how many standard deviations lie between them."),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "row"), columns.map(({ name, unit }) => ["claimed", "predicted", "off by"].map((t) => h("th", { scope: "col", class: "n" }, `${titleOf(name)} ${t}${t === "off by" ? " [σ]" : ` [${unit[1]}]`}`))))),
      h("tbody", {}, rows.map((k) => h("tr", {}, h("th", { scope: "row" }, String(k + 1)), columns.map(({ c, unit }) => [c.claimed[k], c.predicted[k]].map((v) => h("td", { class: "n" }, plain(v, unit[0]))).concat(h("td", { class: "n" }, c.z[k] === null ? "–" : c.z[k].toFixed(1).replace("-", "−")))))))))) ];
}

function difference(d, factor, sign) {
  const [m, l, u] = [d.median, d.low, d.high].map((v) => (v === null ? null : v * factor));
  return h("p", { "data-pair": `${d.first} ${d.second}` }, `${d.first} − ${d.second}: `, h("strong", {}, `${digits(m, l, u)} ${sign}`), ` (${digits(l, l, u)} … ${digits(u, l, u)}). `,
    worded(d.text ?? ""), d.probability_first_greater === null ? "" : ` Probability that ${d.first} has more: ${chance(d.probability_first_greater)}.`);
}

function metricCard(metric, names) {
  const points = names.map((n) => [n, metric.motors[n]]).filter(([, p]) => p);
  const range = reach(points.map(([, p]) => p));
  const better = metric.better === "more" ? " · more is better" : metric.better === "less" ? " · less is better" : "";
  const [factor, sign] = shown(metric.unit, metric.name);
  const told = metric.differences.map((d) => difference(d, factor, sign));
  return h("section", { class: "card", "data-metric": metric.name }, h("h3", {}, titleOf(metric.name)),
    bars(`${sign || "ratio"}${better}`, points.map(([n, p]) => barRow(n, p, metric.unit, range, { name: metric.name })), { class: "named" }),
    metric.differences.length > 1 ? h("details", {}, h("summary", {}, `Differences of ${metric.differences.length} pairs`), told) : told,
    firsts(metric.ranks, names, metric.better ? "Probability of being the best: " : "Probability of having the most: "), places(metric.ranks, names));
}

function scoreCard(score, names) {
  if (!score) return null;
  const per = score.motors;
  const points = names.filter((n) => per[n]?.median !== undefined).sort((a, b) => per[b].median - per[a].median);
  const range = reach(points.map((n) => per[n]));
  return h("section", { class: "card", "data-metric": "score" }, h("h2", {}, "Score by your weights"),
    points.length ? bars("% better than the field of these motors · more is better", points.map((n) => barRow(n, per[n], "share", range)), { class: "named" }) : null,
    score.note ? h("p", {}, score.note.replace(/\b[a-z]+(?:_[a-z]+)+\b/g, titleOf)) : null, firsts(score.ranks, names, "Probability of being the best: "), places(score.ranks, names));
}

function conditions(c) {
  if (!c?.propeller) return "Without a propeller and a voltage, parameters alone are compared.";
  const of = c.of === "the units tested" ? "" : `Of ${c.of}. `;
  return of + worded(`Winding and magnets at ${c.winding_temperature_c} degC. Rise and fall: between throttle ${c.from} to ${c.to}. Hover: ${Number(c.hover_thrust_n).toFixed(2)} N a motor.`);
}

// Of many motors each kind of caution is told once, in the words for its first motor, with the others named.
function cautions(warnings, many) {
  const kinds = new Map();
  for (const w of warnings) kinds.set(many ? w.code : w, [...(kinds.get(many ? w.code : w) ?? []), w]);
  return [...kinds.values()].map(([first, ...others]) => {
    const named = [...new Set(others.map((w) => w.motor))].join(", ");
    return { level: "warning", kind: `Caution, ${first.motor ?? "all"}`, text: worded(first.message) + (named ? ` Likewise ${named}, each by its own figures.` : "") };
  });
}

function labels(claims) {
  if (!claims?.length) return null;
  const list = h("ul", {}, claims.map((c) => h("li", {}, lettered(worded(c.text).replace(`: ${c.metric} of`, `: ${c.metric === "kv" ? "K_v" : titleOf(c.metric)} of`)))));
  return claims.length > FEW ? h("details", {}, h("summary", {}, `${claims.length} labels and claims`), list) : list;
}

export function comparison(found, asked) {
  const many = found.motors.length > FEW;
  const told = [...cautions(found.warnings, many), ...found.notes.map((n) => ({ text: lettered(worded(n.message)) }))];
  return [h("h2", { tabindex: -1 }, `${many ? `${found.motors.length} motors` : found.motors.join(", ")}${asked.propeller ? ` on ${asked.propeller} at ${asked.voltage} V` : ""}`),
    h("p", { class: "quiet" }, "Bars: median and 90 % interval. The address of this page shows the same view again. ", conditions(found.conditions)),
    notes(told), scoreCard(found.score, found.motors), dominance(found.dominance, found.motors), h("div", { class: "grid cards" }, found.metrics.map((m) => metricCard(m, found.motors))),
    found.claims?.length || found.claimed_tables?.length ? h("section", {}, h("h2", {}, "Labels and claims"), labels(found.claims), (found.claimed_tables ?? []).map(claimedTable)) : null,
    h("p", { class: "quiet" }, "A comparison warns, it never certifies.")];
}
