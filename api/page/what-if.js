// What a motor would do: propeller, supply and throttle as the reader moves them.
import { numberOf } from "./asked.js";
import { choice, field, h, show } from "./dom.js";
import { getOnce, pages } from "./http.js";
import { library } from "./plot.js";
import { shown, unitsText } from "./units.js";
import { asker } from "./what-if-ask.js";
import { results } from "./what-if-curves.js";

const grid = (step) => Array.from({ length: Math.round(0.96 / step) + 1 }, (_, k) => Math.round(1000 * (0.04 + step * k)) / 1000);
// Half as many points while something moves.
const [LOW_V, HIGH_V] = [2, 120];
const [FINE, COARSE] = [grid(0.02), grid(0.04)];

function slider(label, unit, min, max, step, value, change) {
  const out = h("span", { class: "value" }, `${value} ${unit}`);
  const told = () => { out.textContent = `${node.value} ${unit}`; node.setAttribute("aria-valuetext", out.textContent); };
  const node = h("input", { type: "range", min, max, step, "aria-label": `${label} in ${unit}`,
    oninput: () => { told(); change(false); }, onchange: () => change(true) });
  node.value = value;
  told();
  return [node, h("label", {}, h("span", {}, `${label}: `, out), node)];
}

function sizesOf(asked, known) {
  if (known.includes(asked)) return null;
  const sizes = asked.split("x").map(Number);
  // Of a misspelt one no other propeller's numbers are shown instead.
  if (!(sizes.length === 3 && sizes.every((size) => size > 0))) {
    throw new Error(`Propeller “${asked}”: neither one of this fit (${known.join(", ") || "it has none"}) nor D x P x blades in inches, as 7x3.5x3.`);
  }
  return sizes;
}

export async function draw(place, { query, signal }) {
  library().catch(() => {}); // Begins to come while the rest is asked for; who draws with it tells of a failure.
  const motors = await pages("/v1/motors", "motors");
  if (!motors.length) return show(place, h("h1", {}, "What if"), h("p", {}, "There is no motor yet. ", h("a", { href: "#/campaign" }, "Begin a campaign"), "."));
  const motor = query.get("motor") ?? motors[0].motor;
  const fit = query.get("fit") ?? motors.find((m) => m.motor === motor)?.latest;
  if (!fit) throw new Error("The library holds no motor of that name.");
  const about = await getOnce(`/v1/fits/${encodeURIComponent(fit)}`);
  const known = about.propellers;
  const envelope = about.facts.envelope ?? {};
  const asked = query.get("propeller") ?? known[0] ?? "7x3.5x3";
  const sizes = sizesOf(asked, known);
  const [per, sign] = shown("in");
  const [turns, turnSign] = shown("rpm");
  let change = () => {};
  const number = (value, more) => h("input", { type: "number", min: 0, step: "any", value, oninput: () => change(true), ...more });
  const [diameter, pitch] = [sizes?.[0] ?? 7, sizes?.[1] ?? 3.5].map((v) => number(String(Number((v * per).toFixed(2)))));
  const blades = number(String(sizes?.[2] ?? 3), { min: 2, max: 8, step: 1 });
  const own = h("span", { class: "row" }, field(`Diameter [${sign}]`, diameter), field(`Pitch [${sign}]`, pitch), field("Blades", blades));
  const propeller = choice([...known.map((p) => [p, `${p} (${envelope.propellers && !envelope.propellers[p] ? "tested on another motor" : "tested"})`]), ["", "by geometry …"]], sizes ? "" : asked, () => { arrange(); change(true); });
  const ceiling = Number(query.get("max_rpm"));
  const limit = number(ceiling > 0 ? String(Math.round(ceiling * turns)) : "", { placeholder: "not stated" });
  const span = envelope.overall?.voltage_v;
  const voltage = numberOf(query, "voltage", "The voltage", LOW_V, HIGH_V) ?? Number((span?.[1] ?? 14.8).toFixed(1));
  const top = Math.ceil(Math.max(30, (span?.[1] ?? 25) * 1.3, voltage));
  const [volts, voltsField] = slider("Voltage", "V", LOW_V, top, 0.1, voltage, (rest) => change(rest));
  const [throttle, throttleField] = slider("Throttle", "%", 4, 100, 1, numberOf(query, "throttle_pct", "The throttle in per cent", 4, 100) ?? 50, (rest) => change(rest));
  const cells = number(query.get("cells") ?? "6", { min: 1, max: 24, step: 1 });
  const capacity = number(query.get("capacity_mah") ?? "1300", { min: 10 });
  const together = number(query.get("motors") ?? "4", { min: 1, max: 16, step: 1 });
  const pack = h("span", { class: "row" }, field("Cells in series", cells), field("Capacity [mAh]", capacity), field("Motors on it", together));
  const supply = choice([["voltage", "a steady voltage"], ["pack", "a lithium pack, full"]], query.get("cells") ? "pack" : "voltage", () => { arrange(); change(true); });
  function arrange() {
    own.hidden = propeller.value !== "";
    pack.hidden = supply.value !== "pack";
    voltsField.hidden = !pack.hidden;
  }
  arrange();
  const found = results(envelope);
  const turn = (value) => { location.hash = `#/what-if?motor=${encodeURIComponent(value)}`; };
  show(place, h("h1", {}, `What if: ${motor}`),
    h("form", { class: "card row", onsubmit: (event) => event.preventDefault() }, field("Motor", choice(motors.map((m) => m.motor), motor, turn)),
      field("Propeller", propeller), own, field(`Its maker's speed limit [${turnSign}]`, limit), field("Supply", supply), pack),
    h("div", { class: "sliders", role: "group", "aria-label": "Throttle and voltage" }, throttleField, voltsField), found.place);

  function question(moving) {
    const at = Number(throttle.value) / 100;
    const inches = [diameter, pitch].map((node) => Number((node.value / per).toFixed(3)));
    const body = { motor, fit, propeller: propeller.value || [...inches, Number(blades.value)].join("x"), throttle: [...new Set([...(moving ? COARSE : FINE), at])].sort((a, b) => a - b) };
    if (Number(limit.value) > 0) body.max_propeller_speed_rpm = Math.round(limit.value / turns);
    if (supply.value === "pack") return { ...body, cells: Number(cells.value), capacity_mah: Number(capacity.value), motors: Number(together.value) };
    return { ...body, voltage: Number(volts.value) };
  }
  function remember(body) {
    const q = new URLSearchParams({ motor, fit, propeller: body.propeller, throttle_pct: throttle.value, units: unitsText() });
    for (const key of ["voltage", "cells", "capacity_mah", "motors"]) if (body[key]) q.set(key, body[key]);
    if (body.max_propeller_speed_rpm) q.set("max_rpm", body.max_propeller_speed_rpm);
    history.replaceState(null, "", `#/what-if?${q}`);
  }
  change = asker(question, async (answer, body, stale) => {
    if (!body.draws) remember(body);
    await found.paint(answer, Number(throttle.value) / 100, Boolean(body.draws), stale);
  }, found.fail, signal);
  change(true);
  return undefined;
}
