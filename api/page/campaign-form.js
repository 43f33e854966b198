// The form of a campaign: bench, motors, propellers, flywheels, and a run for each log with its columns.
import { choice, field, h, notes, show } from "./dom.js";
import { lettered } from "./names.js";
import { CHANNELS, guess, head, UNITS } from "./log-head.js";
import { colour, draw as plot } from "./plot.js";
import { thin } from "./thin.js";
import { setting } from "./units.js";

const RUN_KINDS = ["no-load", "ramp", "hold", "steps", "spin-up", "coast-down", "table"];
// Channels whose sensor may have been mounted the other way round.
const SIGNED = ["current", "speed", "thrust", "torque", "motor_current"];
const heads = new WeakMap();

function entry(target, key, label, changed, more = {}) {
  return field(label, h("input", { type: "text", inputmode: more.text ? "text" : "decimal", value: target[key] ?? "", size: more.text ? 18 : 9, spellcheck: "false",
    oninput: (event) => { target[key] = event.target.value; changed(); more.after?.(); } }), more.hint);
}

// A list drawn anew by itself alone: what is unfolded elsewhere stays, and the focus goes to what was added, or to the
// entry that takes the place of one removed.
function listOf(title, one, items, fields, changed) {
  const place = h("fieldset", {});
  const add = h("button", { onclick: () => { items.push({ id: "" }); changed(); draw(); rows().at(-1).querySelector("input").focus(); } }, `Add a ${one}`);
  const rows = () => [...place.querySelectorAll(".row")];
  const remove = (index) => {
    items.splice(index, 1);
    changed();
    draw();
    (rows()[Math.min(index, items.length - 1)]?.querySelector("button") ?? add).focus();
  };
  const draw = () => show(place, h("legend", {}, title), items.map((item, index) => h("div", { class: "row" },
    entry(item, "id", `Id of ${one} ${index + 1}`, changed, { text: true }), (typeof fields === "function" ? fields(item) : fields).map(([key, label]) => entry(item, key, h("span", {}, lettered(label)), changed)),
    h("button", { "aria-label": `Remove ${one} ${index + 1}`, onclick: () => remove(index) }, "Remove"))), h("p", {}, add));
  draw();
  return place;
}

// In the unit the reader chose, but a size begun in one unit stays in it.
function sizes(propeller) {
  const begun = ["in", "mm"].find((unit) => propeller[`diameter_${unit}`] || propeller[`pitch_${unit}`]);
  const unit = begun ?? setting("length");
  return [[`diameter_${unit}`, `Diameter [${unit}]`], [`pitch_${unit}`, `Pitch [${unit}]`]];
}

export function formOf(draft, changed) {
  const form = draft.form;
  return h("form", { onsubmit: (event) => event.preventDefault() },
    h("fieldset", {}, h("legend", {}, "Day and bench"), h("div", { class: "row" }, entry(form, "title", "Title", changed, { text: true }), entry(form, "bench", "Bench", changed, { text: true }),
      entry(form.air, "temperature_c", "Air temperature [°C]", changed), entry(form.air, "pressure_hpa", "Station pressure [hPa]", changed), entry(form.air, "humidity_pct", "Humidity [%]", changed),
      entry(form.controller, "resistance_ohm", "Resistance of controller and leads [Ω]", changed), entry(form.controller, "current_limit_a", "Current limit of the controller [A]", changed)),
    h("p", { class: "quiet" }, "Air is needed as soon as a run has a propeller. What you do not know stays empty. What the form does not ask, as the doubts of the sensors, can be written into the campaign file it makes.")),
    listOf("Motors", "motor", form.motors, [["mass_g", "Mass [g]"], ["pole_pairs", "Pole pairs"], ["label_kv", "K_v on its label [rpm/V]"]], changed),
    listOf("Propellers", "propeller", form.propellers, (p) => [...sizes(p), ["blades", "Blades"], ["mass_g", "Mass [g]"]], changed),
    listOf("Flywheels", "flywheel", form.flywheels, [["inertia_kg_m2", "Inertia [kg m²]"], ["inertia_sd_kg_m2", "Its doubt, one sigma [kg m²]"]], changed),
    form.runs.map((run) => runOf(run, draft, changed)),
    draft.files.length ? null : h("p", { class: "quiet" }, "Each log that is dropped becomes a run here."));
}

function runOf(run, draft, changed) {
  // Ids are read anew at each look into the list: they may have been typed meanwhile.
  const pick = (key, label, items, none) => {
    const node = h("select", { onchange: () => { run[key] = node.value; changed(); } });
    const fill = () => show(node, [["", none], ...items.filter((i) => i.id).map((i) => [i.id, i.id])].map(([value, text]) => h("option", { value, selected: value === run[key] }, text)));
    node.addEventListener("focus", fill);
    node.addEventListener("pointerdown", fill);
    fill();
    return field(label, node);
  };
  const columns = h("div", {});
  const file = draft.files.find((f) => f.name === run.file);
  if (file) look(file, run, columns, changed).catch((error) => show(columns, notes([{ level: "error", text: error.message }])));
  return h("fieldset", { "data-run": run.id }, h("legend", {}, `Run from ${run.file}`), h("div", { class: "row" }, entry(run, "id", "Id", changed, { text: true }),
    field("What was done", choice(RUN_KINDS, run.kind, (value) => { run.kind = value; changed(); })),
    pick("motor", "Motor", draft.form.motors, "choose …"), pick("propeller", "Propeller", draft.form.propellers, "none"), pick("flywheel", "Flywheel", draft.form.flywheels, "none")), columns);
}

async function look(file, run, place, changed) {
  if (!heads.has(file)) heads.set(file, head(file));
  const found = await heads.get(file);
  if (!found) return show(place, h("p", { class: "quiet" }, "Its columns are seen once it is checked."));
  const guessed = guess(found.columns);
  const sketch = h("div", { class: "plot", role: "img", "aria-label": `First rows of ${run.file}` });
  const picked = h("p", { class: "quiet" });
  const key = (column) => (column === undefined || column === "" ? "" : String(found.columns.indexOf(column)));
  function sketchOf(channel) {
    const own = run.columns[channel] ?? {};
    const column = own.column ?? guessed[channel];
    const time = run.columns.time?.column ?? guessed.time;
    const at = found.columns.indexOf(column);
    const t = found.columns.indexOf(time);
    if (at < 0) return;
    picked.textContent = `A look at ${channel.replaceAll("_", " ")}: column ${column}${own.unit ? ` in ${own.unit}` : ""}, first ${found.rows.length} rows`;
    const values = found.rows.map((r) => (own.sign ?? 1) * found.number(r[at] ?? ""));
    const rows = thin(values);
    plot(sketch, [{ x: t < 0 ? rows : rows.map((k) => found.number(found.rows[k][t] ?? "")), y: rows.map((k) => values[k]), mode: "lines", line: { color: colour("band"), width: 1.2 } }], { x: t < 0 ? "row" : String(time), y: String(column), height: 180 }).catch((error) => show(sketch, error.message));
  }
  const rows = CHANNELS.map((channel) => {
    const set = (name, value) => { run.columns[channel] = { ...run.columns[channel], [name]: value }; if (!run.columns[channel].column && guessed[channel]) run.columns[channel].column = guessed[channel]; changed(); sketchOf(channel); };
    const label = channel.replaceAll("_", " ");
    return h("tr", { role: "row" }, h("th", { scope: "row", role: "rowheader" }, label),
      h("td", { role: "cell" }, choice([["", guessed[channel] ? `${guessed[channel]}, by name` : "not logged"], ...found.columns.map((c, k) => [String(k), String(c)])], key(run.columns[channel]?.column),
        (value) => set("column", value === "" ? "" : found.columns[Number(value)]), { "aria-label": `Column of ${label}` })),
      h("td", { role: "cell" }, choice(UNITS[channel].map((u) => [u, u || "by header"]), run.columns[channel]?.unit ?? "", (value) => set("unit", value), { "aria-label": `Unit of ${label}` })),
      h("td", { role: "cell" }, SIGNED.includes(channel) ? h("label", { class: "tick" }, h("input", { type: "checkbox", checked: run.columns[channel]?.sign === -1, "aria-label": `${label} the other way round`, onchange: (event) => set("sign", event.target.checked ? -1 : 1) }), "other way round") : null));
  });
  show(place, h("details", {}, h("summary", {}, `Columns (${found.columns.length})`), h("table", { class: "stack", role: "table" }, h("caption", {}, "Only what the header does not say needs a choice."),
    h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, ["Channel", "Column", "Unit", "Sign"].map((t) => h("th", { scope: "col", role: "columnheader" }, t)))), h("tbody", { role: "rowgroup" }, rows))),
  picked, sketch, h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": `First rows of ${run.file}` }, h("table", {}, h("thead", {}, h("tr", {}, found.columns.map((c) => h("th", { scope: "col" }, String(c))))),
    h("tbody", {}, found.rows.slice(0, 4).map((row) => h("tr", {}, row.map((cell) => h("td", { class: "n" }, cell))))))));
  sketchOf(["speed", "current", "voltage", "thrust"].find((c) => guessed[c]) ?? "time");
  return undefined;
}
