// One motor: what is known, what is not, what was logged, where it comes from.
import { barRow, bars, KEY_PARAMETERS, reach } from "./bars.js";
import { choice, facts, field, h, notes, show } from "./dom.js";
import { download, getOnce, pages } from "./http.js";
import { drawRuns } from "./motor-runs.js";
import { drawPairs } from "./motor-pairs.js";
import { lettered, meaning, split, symbol, words } from "./names.js";
import { library } from "./plot.js";
import { moment, shown, worded } from "./units.js";

const MORE = ["kt_kv_ratio", "saturation_current", "braking_share"];

function before(beliefs, name, summary, whole) {
  const belief = beliefs[name];
  const known = summary.parameters[name];
  const { base, of } = split(name);
  const plain = [lettered(words(base)), whole && of ? ` · ${of}` : ""];
  if (!belief) return barRow(plain, known, known.unit, reach([known]), { name: base, learned: known.learned });
  return barRow([symbol(belief.symbol), " ", plain], known, known.unit, reach([belief.prior, known]),
    { name: base, prior: belief.prior, learned: known.learned, hint: lettered(worded(meaning(belief.meaning))) });
}

// `whole`: rows say of which propeller they are, where the caption does not.
function table(names, beliefs, summary, caption, whole = false) {
  return bars(caption, names.map((n) => before(beliefs, n, summary, whole)), { class: "long" });
}

// Said once above the list.
const TEACH = /^not learned from these runs; what would teach it: /i;

// Commands that the service names between back quotes.
const quoted = (text) => text.split("`").map((part, k) => (k % 2 ? h("code", {}, part) : part));

function learned(summary) {
  const missed = Object.entries(summary.not_learned);
  const kept = Object.values(summary.parameters).filter((p) => p.learned).length;
  return h("section", {}, h("h2", {}, "What the runs taught, and what they did not"),
    h("p", {}, `${kept} parameters were learned; ${missed.length} stayed where the prior had them.${missed.length ? " What would teach those:" : ""}`),
    h("ul", {}, missed.map(([name, advice]) => h("li", {}, h("strong", {}, words(name)), ": ", worded((advice ?? "these runs say nothing of it.").replace(TEACH, ""))))));
}

function diagnosis(summary, motor) {
  const d = summary.diagnostics ?? {};
  const sound = d.sound === false ? { level: "error", kind: "Not sound", text: "These draws should not be relied on." }
    : { kind: "Sound", text: "The draws passed their own checks." };
  return h("section", {}, h("h2", {}, "Diagnostics"), notes([sound, ...(d.sentences ?? []).map((text) => ({ text: quoted(worded(text)) }))]),
    h("p", { class: "quiet" }, "What these words mean, and what to do: ", h("code", {}, `motorfit show ${motor} --diagnose`), " in a terminal."));
}

function sizeOf(p) {
  if (!p) return "";
  const [per, unit] = shown("in");
  const size = (metres) => Number((metres / 0.0254 * per).toFixed(unit === "mm" ? 0 : 2));
  return ` · ${size(p.diameter_m)} × ${size(p.pitch_m)} ${unit}, ${p.blades} blades`;
}

function origin(about) {
  const p = about.provenance;
  const air = about.facts.air;
  return h("section", {}, h("h2", {}, "Where it comes from"),
    facts([["Campaign", p.campaign], ["Bench", p.bench], ["Fitted", moment(p.created)], ["Method", p.method], ["Draws", about.draws], ["Seed", p.seed],
      ["Fit", about.fit], ["Air", air ? `${air.temperature_c} °C, ${air.pressure_hpa} hPa, ${air.humidity_pct} %` : null]]),
    h("details", {}, h("summary", {}, "Files that went in, by SHA-256"), facts(Object.entries(p.inputs_sha256 ?? {}).map(([k, v]) => [k, h("code", {}, v)]))));
}

function downloads(fit, motor) {
  const base = `/v1/fits/${encodeURIComponent(fit)}`;
  const told = h("div", {});
  const offer = (text, path, name) => h("button", { onclick: () => { show(told); download(path, name).catch((e) => show(told, notes([{ level: "error", text: e.message }]))); } }, text);
  const stem = `${motor}-${fit}`;
  return [h("div", { class: "row no-print" }, offer("Whole fit (netCDF)", `${base}/file`, `${stem}.nc`),
    ["csv", "parquet", "json"].map((form) => offer(`Draws (${form === "csv" ? "CSV" : form === "json" ? "JSON" : "Parquet"})`, `${base}/posterior?format=${form}`, `${stem}.${form}`)),
    offer("Summary (JSON)", `${base}/parameters`, `${stem}-summary.json`)), h("p", { class: "quiet no-print" }, "Every column says its unit, that of the library, whatever is chosen here."), told];
}

export async function draw(place, { rest, query, signal }) {
  library().catch(() => {}); // Begins to come while the rest is asked for; who draws with it tells of a failure.
  const motor = rest[0] ?? "";
  const id = encodeURIComponent(motor);
  const fits = await pages(`/v1/motors/${id}/fits`, "fits");
  const usable = fits.filter((f) => !f.problem);
  const fit = query.get("fit") ?? (usable.at(-1) ?? fits.at(-1)).fit;
  const base = `/v1/fits/${encodeURIComponent(fit)}`;
  const [summary, about, beliefs] = await Promise.all([getOnce(`${base}/parameters`), getOnce(base), getOnce(`${base}/beliefs`)]);
  const all = Object.keys(summary.parameters);
  const key = [...KEY_PARAMETERS.map(([n]) => n), ...MORE].filter((n) => all.includes(n));
  const props = all.filter((n) => /^(thrust_coefficient|torque_coefficient|figure_of_merit|prop_inertia)\[/.test(n));
  const others = all.filter((n) => !key.includes(n) && !props.includes(n));
  const facet = about.facts.motor ?? {};
  const label = facet.label_kv ? worded(`${facet.label_kv} rpm/V on its label`).replaceAll(" ", "\u00a0") : null;
  const unsound = summary.diagnostics?.sound === false
    ? notes([{ level: "error", kind: "Not sound", text: "These draws should not be relied on. Diagnostics, below, say why and what to do." }]) : null;
  const runs = h("section", {}, h("h2", {}, "What was logged, and what the model makes of it"));
  const pairs = h("section", {}, h("h2", {}, "Which parameters go together"));
  const tested = [...new Set(props.map((n) => split(n).of))];
  show(place, h("h1", {}, motor),
    h("p", { class: "quiet" }, [about.provenance.campaign, about.provenance.bench, facet.mass_g ? `${facet.mass_g} g` : null, facet.pole_pairs ? `${facet.pole_pairs} pole pairs` : null, label].filter(Boolean).join(" · ")),
    unsound,
    h("div", { class: "row no-print" },
      fits.length > 1 ? field("Fit", choice(fits.map((f) => [f.fit, `${moment(f.created)} · ${f.campaign}${f.problem ? " (unreadable)" : ""}`]), fit, (value) => { location.hash = `#/motor/${id}?fit=${encodeURIComponent(value)}`; })) : null,
      h("a", { class: "button main", href: `#/what-if?motor=${id}&fit=${encodeURIComponent(fit)}` }, "What if …"),
      h("a", { class: "button", href: `#/compare?motors=${id}` }, "Compare"), h("button", { onclick: () => window.print() }, "Print")),
    h("h2", {}, "Parameters"),
    table(key, beliefs.parameters, summary, "Line and tick: 90 % interval and median after the runs, with their numbers. Broad bar: 90 % before any run. Winding and magnets at 25 °C."),
    tested.length ? h("h2", {}, "Propellers of the campaign") : null,
    tested.map((one, k) => h("details", { open: k === 0 }, h("summary", {}, one, h("span", { class: "quiet" }, sizeOf(about.facts.propellers?.[one]))),
      table(props.filter((n) => split(n).of === one), beliefs.parameters, summary, `What the campaign knows of ${one}, on all its motors.`))),
    h("details", {}, h("summary", {}, `All other parameters: heat, sensors, controller (${others.length})`), table(others, beliefs.parameters, summary, "", true)),
    learned(summary), diagnosis(summary, motor), runs, pairs, origin(about), h("h2", { class: "no-print" }, "Take it with you"), downloads(fit, motor));
  drawRuns(runs, `${base}/runs`, about.facts.runs ?? {}, signal);
  drawPairs(pairs, base, key, beliefs.parameters, signal);
}
