// Draws of two parameters against each other, and of one before and after.
import { choice, field, h, show } from "./dom.js";
import { getOnce } from "./http.js";
import { colour, draw, tint } from "./plot.js";
import { words } from "./names.js";
import { shown } from "./units.js";

export function drawPairs(place, base, names, beliefs) {
  const usable = names.filter((name) => beliefs[name]);
  if (usable.length < 2) return show(place);
  let [first, second] = [usable[0], usable[2] ?? usable[1]];
  const node = h("div", { class: "plot", role: "img", "aria-label": "Draws of two parameters" });
  const before = h("div", { class: "plot", role: "img", "aria-label": "Draws of the first parameter, before and after the runs" });
  const title = (name) => ({ symbol: beliefs[name].symbol, unit: shown(beliefs[name].unit)[1] });

  async function redraw() {
    const { parameters } = await getOnce(`${base}/posterior?draws=800&parameters=${first},${second}`);
    const scaled = (name) => { const factor = shown(beliefs[name].unit)[0]; return parameters[name].values.map((v) => (v === null ? null : v * factor)); };
    await draw(node, [{ x: scaled(first), y: scaled(second), mode: "markers", marker: { size: 4, color: tint(colour("band"), 0.35) }, hoverinfo: "skip" }],
      { x: title(first), y: title(second), height: 300 });
    const shares = beliefs[first].shares;
    if (!shares) return show(before);
    const factor = shown(beliefs[first].unit)[0];
    const middles = shares.edges.slice(1).map((edge, k) => factor * (edge + shares.edges[k]) / 2);
    await draw(before, [{ type: "bar", x: middles, y: shares.posterior, marker: { color: tint(colour("band"), 0.5) }, name: "after the runs" },
      { x: middles, y: shares.prior, mode: "lines", line: { color: colour("quiet"), dash: "dash" }, name: "before" }],
    { x: title(first), y: "share of draws", height: 300, more: { bargap: 0 } });
  }
  const options = usable.map((name) => [name, words(name)]);
  const fail = (error) => show(node, error.message);
  place.append(h("div", { class: "row no-print" }, field("Across", choice(options, first, (v) => { first = v; redraw().catch(fail); })),
    field("Up", choice(options, second, (v) => { second = v; redraw().catch(fail); }))),
  h("div", { class: "grid" }, h("figure", {}, node, h("figcaption", {}, "800 draws. A slanted cloud: the runs pin the combination better than each alone.")),
    h("figure", {}, before, h("figcaption", {}, "Bars: share of the draws after the runs. Dashed: before them, in the same bins."))));
  redraw().catch(fail);
}
