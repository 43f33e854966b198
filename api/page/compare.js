// Motors side by side; the address holds the question, so that a link shows the same view.
import { refusal } from "./asked.js";
import { claimedRows } from "./claimed-rows.js";
import { comparison, titleOf } from "./compare-cards.js";
import { choice, field, h, notes, say, show } from "./dom.js";
import { ask, getOnce, pages } from "./http.js";
import { unitsText } from "./units.js";

const WEIGHED = ["max_thrust_n", "max_thrust_n_per_gram", "peak_efficiency", "winding_resistance", "rotor_inertia", "rise_time_s", "hover_power_w"];
let submitted = false;
// What was entered and not yet asked, for the address where it was: a change of units draws the view anew.
let typed = null;
const here = () => location.hash.replace(/&?units=[^&]*/, "");
const AIRCRAFT = [["mass_g", "All-up mass of the aircraft [g]"], ["motors_of_aircraft", "Motors that carry it"]];

async function voltageOf(held, wanted) {
  const first = held.find((m) => wanted.includes(m.motor)) ?? held[0];
  if (!first) return "";
  const top = (await getOnce(`/v1/fits/${encodeURIComponent(first.latest)}`)).facts.envelope?.overall?.voltage_v?.[1];
  return top ? top.toFixed(1) : "";
}

function questionOf(query, wanted) {
  const body = { motors: wanted };
  if (query.get("propeller")) Object.assign(body, { propeller: query.get("propeller"), voltage: Number(query.get("voltage")) });
  for (const [name] of AIRCRAFT) if (Number(query.get(name)) > 0) body[name] = Number(query.get(name));
  const weights = Object.fromEntries(WEIGHED.map((name) => [name, Number(query.get(`w.${name}`))]).filter(([, w]) => w > 0));
  if (Object.keys(weights).length) body.weights = weights;
  if (query.get("margin_pct")) body.margin = Number(query.get("margin_pct")) / 100;
  if (query.get("models")) body.models = true;
  if (query.get("metric")) body.metric = query.get("metric").split(",").map((name) => name.trim()).filter(Boolean);
  if (query.get("claim")) body.claim = claimOf(query.get("claim"));
  if (query.get("table")) body.claims = [{ motor: query.get("table_of") || wanted[0], name: "the maker's table", ...claimedRows(query.get("table")) }];
  return body;
}

// “max_thrust_n=12.5, tern-2807:kv=1300”; the last sign of equality, since a figure's name may hold one.
function claimOf(text) {
  return Object.fromEntries(text.split(",").map((part) => part.trim()).filter(Boolean).map((part) => {
    const [, name, value] = /^(.+)=\s*(-?\d[\d.]*(?:e[+-]?\d+)?)$/i.exec(part) ?? [];
    if (!name) throw new Error(`Claimed figure “${part}”: write FIGURE=NUMBER, as max_thrust_n=12.5.`);
    return [name.trim(), Number(value)];
  }));
}

export async function draw(place, { query, signal }) {
  const held = await pages("/v1/motors", "motors");
  if (!held.length) return show(place, h("h1", {}, "Compare"), h("p", {}, "There is no motor yet. ", h("a", { href: "#/campaign" }, "Begin a campaign"), "."));
  const wanted = query.getAll("motors");
  const asked = query.get("go") !== null;
  const kept = typed?.at === here() ? typed.entered : null;
  const entered = kept ?? query;
  const whole = kept !== null || asked;
  const propellers = [...new Set((await pages("/v1/propellers", "propellers")).map((p) => p.propeller))];
  const boxes = held.map((m) => h("label", { class: "tick" }, h("input", { type: "checkbox", value: m.motor, checked: entered.getAll("motors").includes(m.motor) }), m.motor));
  const list = h("datalist", { id: "propellers" }, propellers.map((p) => h("option", { value: p })));
  // What was asked without a propeller is not shown with one.
  const propeller = h("input", { list: "propellers", value: entered.get("propeller") ?? (whole ? "" : propellers[0] ?? ""), placeholder: "7x3.5x3", spellcheck: "false" });
  const voltage = h("input", { type: "number", min: 0.1, step: "any", value: entered.get("voltage") ?? (whole ? "" : await voltageOf(held, wanted)) });
  const number = (name) => [name, h("input", { type: "number", min: 0, step: "any", value: entered.get(name) ?? "" })];
  const weights = WEIGHED.map((name) => number(`w.${name}`));
  const aircraft = AIRCRAFT.map(([name]) => number(name));
  const entry = (name, hint, more) => h("input", { type: "text", spellcheck: "false", size: 28, placeholder: hint, value: entered.get(name) ?? "", ...more });
  const margin = h("input", { type: "number", min: 0, max: 99, step: "any", value: entered.get("margin_pct") ?? "", placeholder: "each figure's own" });
  const models = h("input", { type: "checkbox", checked: Boolean(entered.get("models")) });
  const [metric, claim] = [entry("metric", "all of them"), entry("claim", "max_thrust_n=12.5")];
  const table = h("textarea", { class: "low", spellcheck: "false", placeholder: "voltage [V], throttle [%], thrust [g], current [A]\n22.2, 50, 415, 3.6" }, entered.get("table") ?? "");
  const owner = choice([["", "the first one chosen"], ...held.map((m) => [m.motor, m.motor])], entered.get("table_of") ?? "", null, { id: "table-of" });
  const file = h("input", { type: "file", accept: ".csv,.tsv,.txt", onchange: async () => {
    if (!file.files[0]) return;
    table.value = (await file.files[0].slice(0, 20_000).text());
    table.dispatchEvent(new Event("input", { bubbles: true }));
  } });
  const answer = h("div", {});
  function entries() {
    const q = new URLSearchParams();
    for (const box of boxes) { const tick = box.querySelector("input"); if (tick.checked) q.append("motors", tick.value); }
    if (propeller.value.trim()) q.set("propeller", propeller.value.trim());
    if (voltage.value) q.set("voltage", voltage.value);
    for (const [name, input] of [...weights, ...aircraft]) if (Number(input.value) > 0) q.set(name, input.value);
    for (const [name, input] of [["margin_pct", margin], ["metric", metric], ["claim", claim], ["table", table]]) if (input.value.trim()) q.set(name, input.value.trim());
    if (models.checked) q.set("models", "1");
    if (table.value.trim() && owner.value) q.set("table_of", owner.value);
    return q;
  }
  const submit = (event) => {
    event.preventDefault();
    const q = entries();
    if (!q.has("motors")) { show(answer, notes([{ level: "error", text: "Choose a motor first, better two." }])); return; }
    if (propeller.value.trim() && !(Number(voltage.value) > 0)) {
      show(answer, notes([{ level: "error", text: "Give a voltage above 0 to go with the propeller, or leave both empty to compare parameters alone." }]));
      voltage.focus();
      return;
    }
    typed = null;
    q.set("units", unitsText());
    q.set("go", "1");
    submitted = true;
    if (location.hash === `#/compare?${q}`) window.dispatchEvent(new Event("hashchange"));
    else location.hash = `#/compare?${q}`;
  };
  const open = [...weights, ...aircraft].some(([, i]) => i.value);
  const further = models.checked || [margin, metric, claim, table].some((i) => i.value);
  show(place, h("h1", {}, "Compare"),
    h("form", { class: "card", onsubmit: submit, oninput: () => { typed = { at: here(), entered: entries() }; } },
      h("fieldset", {}, h("legend", {}, "Motors, at most twenty"), h("div", { class: "row" }, boxes)),
      h("div", { class: "row" }, field("On one propeller (an id, or D x P x blades in inches)", propeller), list, field("Voltage [V]", voltage)),
      h("details", { open }, h("summary", {}, "Weights of your own, and an aircraft"),
        h("fieldset", {}, h("legend", {}, "Weight in the score"), h("p", { class: "quiet" }, "Proportions, as 2 and 1; what is left empty is not in the score."),
          h("div", { class: "row small" }, weights.map(([name, input]) => field(titleOf(name.slice(2)), input)))),
        h("fieldset", {}, h("legend", {}, "Aircraft"), h("p", { class: "quiet" }, "Sets the thrust of hovering."),
          h("div", { class: "row" }, aircraft.map(([, input], k) => field(AIRCRAFT[k][1], input))))),
      h("details", { open: further }, h("summary", {}, "What counts as a difference, other figures, claims, models"),
        h("div", { class: "row" }, field("A difference matters from [%]", margin), field("Figures, by name", metric),
          h("label", { class: "tick" }, models, "of the models: another unit of each, not the units tested")),
        h("p", { class: "quiet" }, "Names with commas between them: of parameters, as kv; max_thrust_n, max_thrust_n_per_gram, rise_time_s; of curves at a point, as thrust_n@throttle=0.5 or current_a@thrust_n=5."),
        h("fieldset", {}, h("legend", {}, "What the maker claims"), h("p", { class: "quiet" }, "Figures in the units of the library; of one motor alone, as tern-2807:max_thrust_n=12.5. A table needs a header with units; it is for the propeller above."),
          h("div", { class: "row" }, field("Claimed figures", claim)),
          h("label", { class: "whole" }, "Claimed table, a row for each point", table),
          h("div", { class: "row" }, field("From a file", file), h("div", {}, h("label", { for: "table-of" }, "The table is of"), h("br"), owner)))),
      h("p", {}, h("button", { class: "main" }, "Compare"))), answer);
  if (!wanted.length || !asked) return undefined;
  const pressed = submitted;
  submitted = false;
  show(answer, h("p", { class: "quiet" }, "Comparing …"));
  try {
    const body = questionOf(query, wanted);
    const found = await ask("/v1/comparisons", body, signal);
    show(answer, comparison(found, body));
    // Who pressed the button goes on from the answer, not from the top of the form.
    if (pressed && document.activeElement === document.body) answer.querySelector("h2").focus();
    say(`Compared ${found.motors.join(", ")}`);
  } catch (error) {
    if (!signal.aborted) show(answer, notes([{ level: "error", kind: "No answer", text: refusal(error) }]));
  }
  return undefined;
}
