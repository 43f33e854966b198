// Motors side by side; the address holds the question, so that a link shows the same view.
import { refusal } from "./asked.js";
import { comparison, titleOf } from "./compare-cards.js";
import { field, h, notes, say, show } from "./dom.js";
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
  return body;
}

export async function draw(place, { query, signal }) {
  const held = await pages("/v1/motors", "motors");
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
  const answer = h("div", {});
  function entries() {
    const q = new URLSearchParams();
    for (const box of boxes) { const tick = box.querySelector("input"); if (tick.checked) q.append("motors", tick.value); }
    if (propeller.value.trim()) q.set("propeller", propeller.value.trim());
    if (voltage.value) q.set("voltage", voltage.value);
    for (const [name, input] of [...weights, ...aircraft]) if (Number(input.value) > 0) q.set(name, input.value);
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
  show(place, h("h1", {}, "Compare"), held.length ? null : h("p", {}, "There is no motor yet. ", h("a", { href: "#/campaign" }, "Begin a campaign"), "."),
    h("form", { class: "card", onsubmit: submit, oninput: () => { typed = { at: here(), entered: entries() }; } },
      h("fieldset", {}, h("legend", {}, "Motors, at most eight"), h("div", { class: "row" }, boxes)),
      h("div", { class: "row" }, field("On one propeller (an id, or D x P x blades in inches)", propeller), list, field("Voltage [V]", voltage)),
      h("details", { open }, h("summary", {}, "Weights of your own, and an aircraft"),
        h("fieldset", {}, h("legend", {}, "Weight in the score"), h("p", { class: "quiet" }, "Proportions, as 2 and 1; what is left empty is not in the score."),
          h("div", { class: "row small" }, weights.map(([name, input]) => field(titleOf(name.slice(2)), input)))),
        h("fieldset", {}, h("legend", {}, "Aircraft"), h("p", { class: "quiet" }, "Sets the thrust of hovering."),
          h("div", { class: "row" }, aircraft.map(([, input], k) => field(AIRCRAFT[k][1], input))))),
      h("p", {}, h("button", { class: "main" }, "Compare"))), answer);
  if (!wanted.length || !asked) return undefined;
  const body = questionOf(query, wanted);
  const pressed = submitted;
  submitted = false;
  show(answer, h("p", { class: "quiet" }, "Comparing …"));
  try {
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
