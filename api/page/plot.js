import { axisSymbol } from "./names.js";

// Plots: the library is fetched when the first is drawn; colours are the page's own.
let loading = null;

export function library() {
  loading ??= new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = document.querySelector('meta[name="plot-script"]').content;
    script.onload = () => resolve(window.Plotly);
    script.onerror = () => { loading = null; reject(new Error("The plotting script did not come from the service.")); };
    document.head.append(script);
  });
  return loading;
}

export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
export function tint(hex, share) {
  const [r, g, b] = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
  return `rgba(${r},${g},${b},${share})`;
}

export function band(x, { low, median, high }, { name, factor = 1, dash, axis = "", tone = colour("band") } = {}) {
  const times = (values) => values.map((v) => (v === null ? null : v * factor));
  const axes = { xaxis: "x", yaxis: `y${axis}` };
  const edge = { x, mode: "lines", line: { width: 0 }, hoverinfo: "skip", showlegend: false, ...axes };
  return [
    { ...edge, y: times(low) },
    { ...edge, y: times(high), fill: "tonexty", fillcolor: tint(tone, 0.25) },
    { x, y: times(median), mode: "lines", line: { color: tone, width: 2, dash }, name, showlegend: false, ...axes },
  ];
}

// Plots have a width in pixels; on paper it is half a page, whatever the window had.
const PAPER_PX = 330;
const each = (act) => { for (const node of document.querySelectorAll(".js-plotly-plot")) if (node.checkVisibility()) act(node); };
window.addEventListener("beforeprint", () => each((node) => window.Plotly.relayout(node, { width: PAPER_PX })));
window.addEventListener("afterprint", () => each((node) => window.Plotly.relayout(node, { width: null, autosize: true })));

const plain = (text) => String(text).replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
// A title is text, or a symbol with its unit.
const written = (title) => (typeof title === "string" ? plain(title) : `${axisSymbol(plain(title.symbol))}${title.unit ? ` [${plain(title.unit)}]` : ""}`);

// The margins are fixed: measuring labels would draw each plot twice, and let it jump while a slider moves.
export async function draw(node, data, { x, y, height = 230, shapes = [], more = {} }) {
  node.style.minHeight = `${height}px`;
  const Plotly = await library();
  const axis = (title) => ({ title: { text: written(title), standoff: 6 }, gridcolor: colour("line"), zerolinecolor: colour("line"),
    linecolor: colour("quiet"), fixedrange: true, exponentformat: "none" });
  const layout = { height, margin: { l: 70, r: 12, t: 8, b: 42 }, separators: ".", paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
    font: { color: colour("ink"), size: 12, family: "system-ui, sans-serif" }, xaxis: axis(x), shapes,
    hovermode: "closest", showlegend: false, dragmode: false, ...more, yaxis: { ...axis(y), ...more.yaxis } };
  if (more.yaxis2) {
    layout.yaxis2 = { ...axis(more.yaxis2.title), ...more.yaxis2, title: { text: plain(more.yaxis2.title), standoff: 6 } };
    layout.xaxis.anchor = "y2";
  }
  await Plotly.react(node, data, layout, { displayModeBar: false, responsive: true, scrollZoom: false });
}
