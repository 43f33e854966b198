// Which motors there are, what is known of each, and how each was tested.
import { barRow, bars, KEY_PARAMETERS, reach } from "./bars.js";
import { field, h, notes, say, show } from "./dom.js";
import { getOnce, pages } from "./http.js";
import { lettered, symbol, words } from "./names.js";
import { shown } from "./units.js";

const FIRST = 9;

function empty() {
  return [h("h1", {}, "Motors"), h("div", { class: "card" },
    h("h2", {}, "The library is empty"),
    h("p", {}, "Begin with your own bench: ", h("a", { href: "#/campaign" }, "describe a campaign and drop its logs"), "."),
    h("p", {}, "Or look around in a simulated one first. In a terminal:"),
    h("pre", { class: "scroll" }, "motorfit demo\nmotorfit serve --library motorfit-demo/library"))];
}

async function read(entry) {
  const fit = encodeURIComponent(entry.latest);
  const [summary, facts] = await Promise.all([getOnce(`/v1/fits/${fit}/parameters`), getOnce(`/v1/fits/${fit}`)]);
  const runs = Object.values(facts.facts.runs ?? {});
  // A campaign's propellers are in each of its fits; those that this motor turned are the ones of its runs.
  const turned = [...new Set(runs.map((run) => run.propeller).filter(Boolean))];
  return { ...entry, summary, kinds: [...new Set(runs.map((run) => run.kind))], propellers: runs.length ? turned : facts.propellers,
    mass: facts.facts.motor?.mass_g, campaign: facts.provenance.campaign, sound: summary.diagnostics?.sound, count: runs.length };
}

function card(motor, ranges) {
  const known = motor.summary.parameters;
  const id = encodeURIComponent(motor.motor);
  return h("section", { class: "card", "data-motor": motor.motor },
    h("h2", {}, h("a", { href: `#/motor/${id}` }, motor.motor)),
    h("p", { class: "quiet" }, [motor.campaign, motor.mass ? `${motor.mass} g` : null, `${motor.fits} ${motor.fits === 1 ? "fit" : "fits"}`].filter(Boolean).join(" · ")),
    motor.sound === false ? notes([{ level: "warning", kind: "Draws not sound", text: "See its diagnostics before you use these numbers." }]) : null,
    bars(`Key parameters of ${motor.motor}, 90 % intervals`, KEY_PARAMETERS.filter(([name]) => known[name]).map(([name, sign]) =>
      barRow(symbol(sign), known[name], known[name].unit, ranges[name], { learned: known[name].learned })), { unseen: true, class: "short" }),
    h("ul", { class: "tags", "aria-label": "Tested by" }, motor.kinds.map((kind) => h("li", {}, kind)), motor.propellers.map((name) => h("li", {}, `with ${name}`))),
    h("p", { class: "no-print" }, h("a", { href: `#/what-if?motor=${id}`, "aria-label": `What if … ${motor.motor}` }, "What if …")));
}

function name(entry) {
  return h("section", { class: "card waiting" }, h("h2", {}, h("a", { href: `#/motor/${encodeURIComponent(entry.motor)}` }, entry.motor)),
    h("p", { class: "quiet" }, `${entry.fits} ${entry.fits === 1 ? "fit" : "fits"}`));
}

function rangesOf(motors) {
  return Object.fromEntries(KEY_PARAMETERS.map(([name]) => [name, reach(motors.map((m) => m.summary.parameters[name]).filter(Boolean))]));
}

export async function draw(place, { query }) {
  show(place, h("h1", {}, "Motors"), h("p", { class: "quiet" }, "Reading the library …"));
  const entries = await pages("/v1/motors", "motors");
  if (!entries.length) return show(place, empty());
  const problems = [];
  const some = async (part) => (await Promise.all(part.map((entry) => read(entry).catch((error) => {
    problems.push({ level: "error", kind: entry.motor, text: error.message });
    return null;
  })))).filter(Boolean);
  // Names stand at once; of a large library the first bars are shown while the others come.
  const coming = (known) => show(place, h("h1", {}, "Motors"), h("p", { class: "quiet" }, `Reading ${entries.length} motors …`),
    h("div", { class: "grid cards" }, known.map((m) => card(m, rangesOf(known))), entries.slice(known.length).map(name)));
  coming([]);
  let motors = await some(entries.slice(0, FIRST));
  if (entries.length > FIRST) {
    coming(motors);
    motors = motors.concat(await some(entries.slice(FIRST)));
  }
  const ranges = rangesOf(motors);
  const kinds = [...new Set(motors.flatMap((m) => m.kinds))].sort();
  const search = h("input", { type: "search", value: query.get("find") ?? "", oninput: filter });
  const kind = h("select", { onchange: filter }, h("option", { value: "" }, "any"), kinds.map((k) => h("option", { value: k }, k)));
  const low = h("input", { type: "number", min: 0, oninput: filter });
  const high = h("input", { type: "number", min: 0, oninput: filter });
  const list = h("div", { class: "grid cards" });
  const [per, sign] = shown("rpm/V");
  let asked = false;
  const told = h("p", { class: "quiet" });

  function filter() {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const kept = motors.filter((m) => {
      const text = [m.motor, m.campaign, ...m.propellers, ...m.kinds].join(" ").toLowerCase();
      const kv = m.summary.parameters.kv;
      return words.every((word) => text.includes(word)) && (!kind.value || m.kinds.includes(kind.value))
        && (!low.value || (kv && kv.high * per >= Number(low.value))) && (!high.value || (kv && kv.low * per <= Number(high.value)));
    });
    show(list, kept.map((m) => card(m, ranges)));
    told.textContent = `${kept.length} of ${motors.length} motors.`;
    if (asked) say(`${kept.length} of ${motors.length} motors`);
    asked = true;
  }
  show(place, h("h1", {}, "Motors"), notes(problems), h("div", { class: "row no-print", role: "search" },
    field("Search motor, propeller, campaign", search), field("Tested by", kind), field(h("span", {}, lettered(`K_v from [${sign}]`)), low), field(h("span", {}, lettered(`K_v to [${sign}]`)), high)), told,
  h("p", { class: "quiet" }, KEY_PARAMETERS.map(([name, text], k) => [k ? ", " : "", symbol(text), ` ${words(name)}`]), ". Bars: 90 % intervals, one scale for each parameter over all motors; dashed where the runs did not teach it."), list);
  filter();
}
