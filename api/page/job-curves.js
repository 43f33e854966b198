// Findings by number, and the same numbers on the curves where they occur.
import { h, show } from "./dom.js";
import { colour, draw as plot, tint } from "./plot.js";
import { shown, worded } from "./units.js";

const LEVEL = { error: "error", warning: "warning", note: "note" };
const WHOLE = 0.9; // A finding over so much of a run is said beside its curve, not drawn over all of it.
const MOST_MARKS = 12;
const words = (name) => name.replaceAll("_", " ").replaceAll("-", " ");
const sentence = (text) => (text && !/[.!?]$/.test(text) ? `${text}.` : text);

// “2 to 9, 14”: rows of a finding, those that follow each other together.
function rowsText(rows) {
  const spans = [];
  for (const row of rows) {
    if (spans.length && row === spans.at(-1)[1] + 1) spans.at(-1)[1] = row;
    else spans.push([row, row]);
  }
  const shownSpans = spans.slice(0, 6).map(([a, b]) => (a === b ? `${a}` : `${a} to ${b}`));
  return `${shownSpans.join(", ")}${spans.length > 6 ? " …" : ""}`;
}

function textOf(f) {
  const message = worded(sentence(f.message));
  const span = f.rows?.length === 2 && f.start_s !== null && f.start_s !== undefined;
  const rows = f.rows?.length && !/^rows? \d/.test(message) ? ` Lines of the file: ${span ? f.rows.join(" to ") : rowsText(f.rows)}.` : "";
  return `${message[0].toUpperCase()}${message.slice(1)} ${worded(sentence(f.remedy ?? ""))}${rows}`;
}

// The list; with `place`, the section of the curves, each finding has a button that leads to its curve.
export function told(list, place) {
  if (!list.length) return null;
  return h("ol", { class: "notes numbered", "aria-label": "Findings" }, list.map((f, k) => h("li", { class: LEVEL[f.severity] ?? "note" },
    h("span", { class: "kind" }, `${k + 1} · ${f.severity} · ${words(f.kind)} · ${f.run}${f.channel ? `, ${words(f.channel)}` : ""}`), " ", h("span", {}, textOf(f)),
    place ? h("button", { class: "small", "data-leads": f.run, "aria-label": `Show finding ${k + 1} on its curve`, onclick: () => lead(place, f) }, "On the curve") : null)));
}

// “2 errors, 15 warnings, 1 note.”
export function counted(list) {
  const counts = Object.keys(LEVEL).map((level) => [level, list.filter((f) => f.severity === level).length]).filter(([, n]) => n);
  return `${counts.map(([level, n]) => `${n} ${level}${n === 1 ? "" : "s"}`).join(", ")}.`;
}

function lead(place, f) {
  const box = [...place.querySelectorAll("details")].find((node) => node.dataset.run === f.run);
  if (!box) return;
  box.open = true;
  box.dispatchEvent(new Event("toggle"));
  const figures = [...box.querySelectorAll("figure")];
  const aim = figures.find((node) => node.dataset.channel === f.channel) ?? box;
  aim.tabIndex = -1;
  aim.focus({ preventScroll: true });
  aim.scrollIntoView({ block: "center" });
}

// Over time; a table of steady points, and a log whose clock was refused, over the lines of its file.
const across = (c) => c.time_s ?? c.line ?? c.row;

// Where the file's lines lie across, between the points that are drawn.
function placeOf(line, c) {
  const x = across(c);
  const at = c.line.findIndex((l) => l >= line);
  if (at < 0) return x.at(-1);
  if (at === 0 || c.line[at] === line) return x[at];
  const share = (line - c.line[at - 1]) / (c.line[at] - c.line[at - 1]);
  return x[at - 1] + share * (x[at] - x[at - 1]);
}

// Places of a finding on a channel: spans across, or "whole" where it holds of the whole run.
function places(f, c) {
  const [first, last] = [across(c)[0], across(c).at(-1)];
  // Where each line is named, those are marked, not all that lies between the first and the last.
  const each = f.rows?.length > 2 && c.line;
  if (!each && c.time_s && f.start_s !== null && f.start_s !== undefined) {
    const end = f.end_s ?? f.start_s;
    return end - f.start_s >= WHOLE * (last - first) ? "whole" : [[f.start_s, end]];
  }
  if (!f.rows?.length || !c.line) return "whole";
  const spans = [];
  const near = (last - first) / 150;
  for (const row of f.rows) {
    const at = placeOf(row, c);
    if (spans.length && at - spans.at(-1)[1] <= near) spans.at(-1)[1] = at;
    else spans.push([at, at]);
  }
  return spans.slice(0, MOST_MARKS);
}

// A line is broken where readings are missing or the clock jumps, not drawn on as if it were known.
function broken(x, y, rows, held) {
  const step = Math.max(2, (2 * held) / 200);
  const wide = (3 * (x.at(-1) - x[0])) / 200;
  const out = { x: [], y: [] };
  x.forEach((at, k) => {
    if (k && (rows[k] - rows[k - 1] > step || at - x[k - 1] > wide)) {
      out.x.push(x[k - 1]);
      out.y.push(null);
    }
    out.x.push(at);
    out.y.push(y[k]);
  });
  return out;
}

// A number over each mark; those that would touch stand one above the other, and one number is not said twice side by side.
const LABEL_PX = 14;
const DIGIT_PX = 7;
const NARROWEST_PX = 235; // of a plot between its margins
export function numbered(marks, c) {
  const px = (across(c).at(-1) - across(c)[0]) / NARROWEST_PX;
  const placed = [];
  for (const { at, number } of [...marks].sort((a, b) => a.at - b.at)) {
    const close = placed.filter((p) => at - p.at < px * (DIGIT_PX * String(p.number).length + 6));
    if (close.some((p) => p.number === number)) continue;
    let level = 0;
    while (close.some((p) => p.level === level)) level += 1;
    placed.push({ at, number, level });
  }
  return placed;
}

function figureOf(name, c, found, run) {
  const [factor, unit] = shown(c.unit, name);
  // What is wrong with the clock is wrong with all channels.
  const here = found.filter(({ f }) => f.channel === null || f.channel === "time" || f.channel === name);
  const [shapes, marks, marked, whole] = [[], [], [], []];
  for (const { f, number } of c.row.length ? here : []) {
    const spans = places(f, c);
    if (spans === "whole") { whole.push(`${number} ${words(f.kind)}`); continue; }
    marked.push(`${number} ${words(f.kind)}`);
    for (const [from, to] of spans) {
      marks.push({ at: from, number });
      shapes.push({ type: "rect", xref: "x", yref: "paper", x0: from, x1: to, y0: 0, y1: 1, layer: "below",
        fillcolor: tint(colour("warn"), 0.18), line: { color: colour("warn"), width: 1.5, dash: "dot" } });
    }
  }
  const labels = marks.length ? numbered(marks, c) : [];
  const annotations = labels.map(({ at, number, level }) => ({ x: at, y: 1, xref: "x", yref: "paper", text: String(number), showarrow: false,
    xanchor: "left", yanchor: "bottom", yshift: LABEL_PX * level, font: { color: colour("warn"), size: 12 } }));
  const room = 8 + LABEL_PX * Math.max(0, ...labels.map(({ level }) => level + 1));
  const caption = [marked.length ? `Marked: ${marked.join(", ")}` : null, whole.length ? `Over the whole run: ${whole.join(", ")}` : null, `${c.rows_held} rows`].filter(Boolean).join(". ");
  const node = h("div", { class: "plot", role: "img", "aria-label": `${words(name)} of run ${run.run}. ${caption}` });
  const steady = run.kind === "table";
  const line = steady ? { x: across(c), y: c.value } : broken(across(c), c.value, c.row, c.rows_held);
  const act = () => plot(node, [{ x: line.x, y: line.y.map((v) => (v === null ? null : v * factor)), mode: steady ? "markers" : "lines", connectgaps: false, line: { color: colour("band"), width: 1.2 },
    marker: { color: colour("band"), size: 5 } }],
  { x: c.time_s ? "time [s]" : c.line ? "line of the file" : "row", y: unit ? `${words(name)} [${unit}]` : words(name), height: 200, shapes, more: { annotations, margin: { l: 70, r: 12, t: room, b: 42 } } });
  return { figure: h("figure", { "data-channel": name, "data-marks": shapes.length }, node, h("figcaption", {}, caption)), draw: () => act().catch((e) => show(node, e.message)) };
}

function boxOf(run, found) {
  const inner = h("div", { class: "grid" });
  const count = found.length ? ` · ${found.length} ${found.length === 1 ? "finding" : "findings"}` : "";
  const box = h("details", { "data-run": run.run }, h("summary", {}, run.run, h("span", { class: "quiet" }, ` · ${run.kind}${run.propeller ? ` · ${run.propeller}` : ""}${count}`)), inner);
  let drawn = false;
  box.addEventListener("toggle", () => {
    if (!box.open || drawn) return;
    drawn = true;
    const made = Object.entries(run.channels).map(([name, c]) => figureOf(name, c, found, run));
    inner.append(...made.map(({ figure }) => figure));
    made.forEach(({ draw }) => draw());
  });
  return box;
}

export function curves(place, runs, findings) {
  place.append(h("p", { class: "quiet" }, "Numbers and shaded spans are the findings above. A line is broken where readings are missing or were taken as missing. A log without a usable clock is drawn over the lines of its file."));
  const boxes = runs.map((run) => boxOf(run, findings.map((f, k) => ({ f, number: k + 1 })).filter(({ f }) => f.run === run.run)));
  place.append(...boxes);
  // The run of the gravest finding, which stands first, else the first.
  const worst = findings.map((f) => runs.findIndex((run) => run.run === f.run)).find((at) => at >= 0) ?? 0;
  if (boxes.length) boxes[worst].open = true;
}
