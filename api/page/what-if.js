// What a motor would do: propeller, supply and throttle as the reader moves them.
import { choice, field, h, notes, say, show } from "./dom.js";
import { ask, getOnce, pages } from "./http.js";
import { band, colour, draw as plot, tint } from "./plot.js";
import { interval, nameParts, setting, shown } from "./units.js";

const PANELS = ["thrust_n", "speed_rpm", "current_a", "electrical_power_w", "thrust_per_watt_g", "motor_efficiency"];
const GRID = Array.from({ length: 25 }, (_, k) => Math.round((0.04 + 0.04 * k) * 1000) / 1000);
const MOVING_DRAWS = 600;

function slider(label, unit, min, max, step, value, change) {
  const out = h("output", {}, `${value} ${unit}`);
  const node = h("input", { type: "range", min, max, step, "aria-label": `${label} in ${unit}`,
    oninput: () => { out.textContent = `${node.value} ${unit}`; change(false); }, onchange: () => change(true) });
  node.value = value;
  return [node, h("label", {}, h("span", {}, `${label}: `, out), node)];
}

// Throttles at which the median speed stays within what the runs reached.
function tested(curves, span) {
  const speed = curves.speed_rpm.median;
  const inside = span ? curves.throttle.filter((_, k) => speed[k] !== null && speed[k] >= span[0] && speed[k] <= span[1]) : [];
  return inside.length ? [inside[0], inside.at(-1)] : null;
}

function shapesOf(range, throttle) {
  const line = { type: "line", xref: "x", yref: "paper", x0: throttle, x1: throttle, y0: 0, y1: 1, line: { color: colour("ink"), width: 1, dash: "dash" } };
  if (!range) return [line];
  return [{ type: "rect", xref: "x", yref: "paper", x0: range[0], x1: range[1], y0: 0, y1: 1, layer: "below",
    line: { width: 1, dash: "dot", color: colour("quiet") }, fillcolor: tint(colour("quiet"), 0.12) }, line];
}

export async function draw(place, { query, signal }) {
  const motors = await pages("/v1/motors", "motors");
  if (!motors.length) return show(place, h("h1", {}, "What if"), h("p", {}, "There is no motor yet. ", h("a", { href: "#/campaign" }, "Begin a campaign"), "."));
  const motor = query.get("motor") ?? motors[0].motor;
  const fit = query.get("fit") ?? motors.find((m) => m.motor === motor)?.latest;
  if (!fit) throw new Error("The library holds no motor of that name.");
  const about = await getOnce(`/v1/fits/${encodeURIComponent(fit)}`);
  const known = about.propellers;
  const envelope = about.facts.envelope ?? {};
  const asked = query.get("propeller") ?? known[0] ?? "7x3.5x3";
  const geometry = !known.includes(asked);
  const sizes = geometry ? asked.split("x").map(Number) : [];
  // Of a misspelt one no other propeller's numbers are shown instead.
  if (geometry && !(sizes.length === 3 && sizes.every((size) => size > 0))) {
    throw new Error(`Propeller “${asked}”: neither one of this fit (${known.join(", ") || "it has none"}) nor D x P x blades in inches, as 7x3.5x3.`);
  }
  const [per, sign] = shown("in");
  const dimension = (value) => h("input", { type: "number", min: 0, step: "any", value: String(Number((value * per).toFixed(2))), oninput: () => change(true) });
  const [diameter, pitch] = [dimension(sizes[0] || 7), dimension(sizes[1] || 3.5)];
  const blades = h("input", { type: "number", min: 2, max: 8, step: 1, value: String(sizes[2] || 3), oninput: () => change(true) });
  const own = h("span", { class: "row" }, field(`Diameter [${sign}]`, diameter), field(`Pitch [${sign}]`, pitch), field("Blades", blades));
  const propeller = choice([...known.map((p) => [p, `${p} (tested)`]), ["", "by geometry …"]], geometry ? "" : asked, () => { arrange(); change(true); });
  const span = envelope.overall?.voltage_v;
  const top = Math.ceil(Math.max(30, (span?.[1] ?? 25) * 1.3));
  const [volts, voltsField] = slider("Voltage", "V", 2, top, 0.1, Number(query.get("voltage") ?? span?.[1].toFixed(1) ?? 14.8), (rest) => change(rest));
  const [throttle, throttleField] = slider("Throttle", "%", 4, 100, 1, Number(query.get("throttle") ?? 50), (rest) => change(rest));
  const cells = h("input", { type: "number", min: 1, max: 24, value: query.get("cells") ?? "6", oninput: () => change(true) });
  const capacity = h("input", { type: "number", min: 10, step: 10, value: query.get("capacity") ?? "1300", oninput: () => change(true) });
  const pack = h("span", { class: "row" }, field("Cells in series", cells), field("Capacity [mAh]", capacity));
  const supply = choice([["voltage", "a steady voltage"], ["pack", "a lithium pack"]], query.get("cells") ? "pack" : "voltage", () => { arrange(); change(true); });
  function arrange() {
    own.hidden = propeller.value !== "";
    pack.hidden = supply.value !== "pack";
    voltsField.hidden = !pack.hidden;
  }
  arrange();
  const warnings = h("div", { role: "region", "aria-label": "Cautions" });
  const readout = h("dl", { class: "readout" });
  const legend = h("p", { class: "quiet" });
  const figures = PANELS.map((name) => {
    const node = h("div", { class: "plot", role: "img", "aria-label": `${nameParts(name).label} over throttle, with its band` });
    return [name, node, h("figure", {}, node)];
  });
  show(place, h("h1", {}, `What if: ${motor}`),
    h("form", { class: "card", onsubmit: (event) => event.preventDefault() },
      h("div", { class: "row" }, field("Motor", choice(motors.map((m) => m.motor), motor, (value) => { location.hash = `#/what-if?motor=${encodeURIComponent(value)}`; })), field("Propeller", propeller), own),
      h("div", { class: "row" }, field("Supply", supply), voltsField, pack, throttleField)),
    warnings, readout, legend, h("div", { class: "grid" }, figures.map(([, , figure]) => figure)),
    h("p", { class: "quiet" }, "A prediction warns, it never certifies. Stay below the maker's speed limit of the propeller, and clear of its plane."));

  let running = false; let waiting = null; let timer = null;
  function question(draws) {
    const at = Number(throttle.value) / 100;
    const inches = [diameter, pitch].map((node) => Number((node.value / per).toFixed(3)));
    const body = { motor, fit, propeller: propeller.value || [...inches, Number(blades.value)].join("x"), throttle: [...new Set([...GRID, at])].sort((a, b) => a - b) };
    if (draws) body.draws = draws;
    if (supply.value === "pack") return { ...body, cells: Number(cells.value), capacity_mah: Number(capacity.value) };
    return { ...body, voltage: Number(volts.value) };
  }
  function remember(body) {
    const q = new URLSearchParams({ motor, fit, propeller: body.propeller, throttle: throttle.value });
    if (body.cells) { q.set("cells", body.cells); q.set("capacity", body.capacity_mah); } else q.set("voltage", body.voltage);
    history.replaceState(null, "", `#/what-if?${q}`);
  }
  // Fewer draws while something moves; all of them once it rests.
  function change(rest) {
    clearTimeout(timer);
    go(question(rest ? 0 : MOVING_DRAWS));
    if (!rest) timer = setTimeout(() => go(question(0)), 250);
  }
  // One question at a time; of those that come meanwhile, only the newest waits.
  async function go(body) {
    if (running) { waiting = body; return; }
    running = true;
    try {
      const answer = await ask("/v1/predictions", body, signal);
      if (!signal.aborted) { await paint(answer); if (!body.draws) remember(body); }
    } catch (error) {
      if (!signal.aborted) show(warnings, notes([{ level: "error", kind: "No answer", text: error.message }]));
    }
    running = false;
    if (waiting && !signal.aborted) { const next = waiting; waiting = null; go(next); }
  }
  async function paint(answer) {
    const c = answer.curves;
    const at = Number(throttle.value) / 100;
    const index = c.throttle.reduce((best, t, k) => (Math.abs(t - at) < Math.abs(c.throttle[best] - at) ? k : best), 0);
    const withIt = envelope.propellers?.[answer.propeller];
    const reached = (withIt ?? envelope.overall)?.speed_rpm;
    const range = tested(c, reached);
    show(warnings, notes(answer.warnings.map((w) => ({ level: "warning", kind: "Caution", text: w.message }))));
    const names = [...PANELS, ...["torque_nm", "bus_voltage_v", "pack_current_a"].filter((n) => c[n])];
    show(readout, names.map((name) => {
      const { label, unit } = nameParts(name);
      const text = interval({ median: c[name].median[index], low: c[name].low[index], high: c[name].high[index] }, unit);
      return h("div", { "data-curve": name }, h("dt", {}, `${label} at ${Math.round(100 * c.throttle[index])} %`), h("dd", {}, `${text.middle} ${text.unit}`, h("small", {}, text.range)));
    }));
    const speeds = reached?.map((v) => Math.round(v * shown("rpm")[0]));
    legend.textContent = `Line and band: median and 90 % interval. Shaded with dotted edges: speeds tested with ${withIt ? "this" : "any"} propeller${speeds ? ` (${speeds[0]} to ${speeds[1]} ${setting("speed")})` : ""}. Dashed: the throttle chosen.`;
    await Promise.all(figures.map(([name, node]) => {
      const { label, unit } = nameParts(name);
      const [factor, mark] = shown(unit);
      return plot(node, band(c.throttle, c[name], { factor, name: label }), { x: "throttle", y: mark ? `${label} [${mark}]` : label, shapes: shapesOf(range, c.throttle[index]) });
    }));
    readout.dataset.answered = String(Number(readout.dataset.answered ?? 0) + 1);
    if (answer.warnings.length) say(`${answer.warnings.length} cautions`);
  }
  if (!signal.aborted) go(question(0));
  return undefined;
}
