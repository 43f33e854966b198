"""Style sheet and script of the page: no outside request, light and dark, print."""

from __future__ import annotations

STYLE = """
:root { color-scheme: light dark; --paper: #fbfbf8; --ink: #23272d; --soft: #5b636d; --rule: #d9dbd6;
  --panel: #f2f2ed; --accent: #2f6db8; --warn: #8a5200; --warn-paper: #fbf2e2; --warn-rule: #d9a24a; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #15181c; --ink: #dfe3e8; --soft: #a2abb6; --rule: #333a42; --panel: #1c2026;
    --accent: #7fb0ea; --warn: #f0c47c; --warn-paper: #2a2316; --warn-rule: #8f6a2a; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.55 system-ui, -apple-system, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif; }
main { max-width: 66rem; margin: 0 auto; padding: 2.2rem 1.4rem 4rem; }
h1 { font-size: 1.75rem; line-height: 1.2; margin: 0 0 .3rem; letter-spacing: -.01em; }
h2 { font-size: 1.2rem; margin: 2.6rem 0 .5rem; padding-top: 1.1rem; border-top: 1px solid var(--rule); }
h3 { font-size: 1rem; margin: 1.6rem 0 .4rem; }
p { max-width: 46rem; margin: .4rem 0; }
.lead, figcaption, .small { color: var(--soft); }
.small, figcaption { font-size: .875rem; }
.cautions { background: var(--warn-paper); border: 1px solid var(--warn-rule); border-left-width: 5px;
  border-radius: 4px; padding: .8rem 1.1rem; margin: 1.4rem 0; }
.cautions h2 { border: 0; margin: 0 0 .3rem; padding: 0; font-size: 1rem; color: var(--warn); }
.cautions ul { margin: 0; padding-left: 1.2rem; } .cautions li { margin: .25rem 0; }
ul.notes { padding-left: 1.2rem; margin: .4rem 0 1rem; font-size: .92rem; }
figure { margin: .6rem 0 1.4rem; } figcaption { max-width: 46rem; }
.scroll { overflow-x: auto; } .plot { min-width: 860px; }
.scroll:focus-visible { outline: 2px solid var(--accent); }
table { border-collapse: collapse; font-size: .92rem; font-variant-numeric: tabular-nums;
  margin: .6rem 0 1rem; }
th, td { text-align: left; padding: .28rem .9rem .28rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; }
th { font-weight: 600; color: var(--soft); } td.n, th.n { text-align: right; }
td.wide { word-break: break-all; } td.nowrap { white-space: nowrap; }
td.said { min-width: 17rem; }
.no { color: var(--warn); font-weight: 600; }
details { border-bottom: 1px solid var(--rule); padding: .35rem 0; }
summary { cursor: pointer; font-weight: 600; padding: .2rem 0; }
code { font: .9em ui-monospace, SFMono-Regular, Consolas, monospace; }
.js-plotly-plot .main-svg text:not(.hoverlayer text) { fill: var(--soft) !important; }
.js-plotly-plot .main-svg .annotation text { fill: var(--ink) !important; }
@media print { body { font-size: 11pt; } main { max-width: none; padding: 0; }
  details { break-inside: avoid; } }
"""

SCRIPT = """
(function () {
  "use strict";
  var config = { responsive: true, displaylogo: false,
    modeBarButtons: [["zoom2d", "pan2d", "resetScale2d", "toImage"]] };
  function draw(place) {
    if (place.dataset.drawn) { return; }
    place.dataset.drawn = "yes";
    var spec = JSON.parse(document.getElementById(place.dataset.figure).textContent);
    Plotly.newPlot(place, spec.data, spec.layout, config);
  }
  var places = Array.prototype.slice.call(document.querySelectorAll(".plot"));
  if ("IntersectionObserver" in window) {
    var watch = new IntersectionObserver(function (entries) {
      entries.forEach(function (entry) {
        if (entry.isIntersecting) { watch.unobserve(entry.target); draw(entry.target); }
      });
    }, { rootMargin: "800px" });
    places.forEach(function (place) { watch.observe(place); });
  } else { places.forEach(draw); }
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (one) { one.open = true; });
    places.forEach(draw);
  });
})();
"""


def plot_script() -> str:
    """Return the plotting library's own JavaScript, from its installed package: the page needs no network."""
    from importlib.resources import files

    return (files("plotly") / "package_data" / "plotly.min.js").read_text(encoding="utf-8")
