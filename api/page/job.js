// A job from its address: progress as it comes, then findings on the curves where they occur, or the motors fitted.
import { h, notes, say, show } from "./dom.js";
import { cancel, follow, get, post } from "./http.js";
import { colour, draw as plot, tint } from "./plot.js";
import { words } from "./names.js";
import { shown, worded } from "./units.js";

const ENDED = ["done", "failed", "cancelled"];
const LEVEL = { error: "error", warning: "warning" };

export async function draw(place, { rest, signal }) {
  const id = rest[0] ?? "";
  let job = await get(`/v1/jobs/${encodeURIComponent(id)}`);
  const heading = job.kind === "check" ? "Check" : job.kind === "fit" ? "Fit" : "Hold-out";
  const bar = h("progress", { max: 1, value: job.progress, "aria-label": "Share of the work done" });
  const stage = h("p", { "data-state": job.state });
  const stop = h("button", { onclick: () => cancel(id).catch((e) => show(problem, notes([{ level: "error", text: e.message }]))) }, "Cancel");
  const problem = h("div", {});
  const result = h("div", {});
  show(place, h("h1", {}, heading), h("p", { class: "quiet" }, "This address keeps the job: reload it, or come back later."), stage, bar, h("p", {}, stop), problem, result);
  function tell() {
    stage.dataset.state = job.state;
    const before = stage.textContent;
    stage.textContent = { queued: "Waits for its turn.", done: "Done.", failed: "Failed.", cancelled: "Cancelled." }[job.state] ?? `${job.stage || "Begins"} …`;
    if (stage.textContent !== before) say(stage.textContent);
    bar.value = ENDED.includes(job.state) ? 1 : job.progress;
    stop.hidden = bar.hidden = ENDED.includes(job.state);
  }
  function end() {
    tell();
    if (job.problem) {
      const faults = (job.problem.faults ?? []).map((f) => ({ level: "error", kind: f.at ?? f.path, text: f.message ?? `${f.value} · allowed: ${f.allowed}. ${f.remedy}` }));
      show(problem, notes([{ level: "error", kind: job.problem.title, text: job.problem.detail }, ...faults, ...findings(job.problem.findings ?? [])]), back());
    }
    if (job.state === "done" && job.kind === "check") return checked(result, job, id);
    if (job.state === "done" && job.kind === "fit") fitted(result, job);
    return undefined;
  }
  tell();
  if (ENDED.includes(job.state)) return end();
  follow(id, (name, data) => {
    if (name === "end") { job = data; end(); return; }
    if (name === "lost") { stage.textContent = "The connection broke off; trying again …"; return; }
    job = { ...job, ...data };
    tell();
  }, signal).catch((error) => show(problem, notes([{ level: "error", text: error.message }])));
  return undefined;
}

const back = () => h("p", {}, h("a", { href: "#/campaign" }, "Back to the campaign; its draft is kept."));

function findings(list) {
  return list.map((f) => ({ level: LEVEL[f.severity], kind: `${f.severity} · ${f.run}${f.channel ? ` · ${f.channel.replaceAll("_", " ")}` : ""}`,
    text: `${worded(f.message)} ${worded(f.remedy ?? "")}${f.rows?.length ? ` Rows ${f.rows.slice(0, 8).join(", ")}${f.rows.length > 8 ? " …" : ""}.` : ""}` }));
}

async function checked(place, job, id) {
  const r = job.result;
  const faults = (r.faults ?? []).map((f) => ({ level: "error", kind: f.path, text: `${f.value} · allowed: ${f.allowed}. ${f.remedy}` }));
  const weak = (r.teaches ?? []).filter((t) => t.strength !== "well");
  const told = h("div", {});
  const fit = h("button", { class: "main", onclick: async () => {
    fit.disabled = true;
    try {
      const made = await post(`/v1/jobs/${encodeURIComponent(id)}/fit`, `fit-of-${id}`);
      location.hash = `#/job/${made.job}`;
    } catch (error) {
      fit.disabled = false;
      show(told, notes([{ level: "error", text: error.message }]));
    }
  } }, "Fit it");
  const curves = h("section", {}, h("h2", {}, "The logs as they were read"));
  const list = findings(r.findings ?? []);
  show(place, h("h2", {}, r.campaign ?? "Campaign"), faults.length ? notes(faults) : null,
    list.length ? notes(list) : faults.length ? null : h("p", {}, "Nothing odd was found."),
    r.ok ? h("p", {}, fit) : h("p", {}, "It cannot be fitted like this."), told, back(),
    r.assumptions?.length ? [h("h2", {}, "Assumed"), h("ul", {}, r.assumptions.map((t) => h("li", {}, worded(t))))] : null,
    weak.length ? [h("h2", {}, "What these runs teach weakly or not at all"), h("ul", {}, weak.map((t) => h("li", {}, h("strong", {}, `${words(t.parameter)} of ${t.of}`), `: ${t.strength}. ${worded(t.advice)}`)))] : null, curves);
  try {
    const { runs } = await get(`/v1/jobs/${encodeURIComponent(id)}/curves`);
    runs.forEach((run, index) => curves.append(curveBox(run, (r.findings ?? []).filter((f) => f.run === run.run), index === 0)));
  } catch (error) {
    curves.append(h("p", { class: "quiet" }, error.message));
  }
}

function curveBox(run, found, open) {
  const inner = h("div", { class: "grid" });
  const box = h("details", {}, h("summary", {}, `${run.run} · ${run.kind}${run.propeller ? ` · ${run.propeller}` : ""}${found.length ? ` · ${found.length} findings` : ""}`), inner);
  let drawn = false;
  box.addEventListener("toggle", () => {
    if (!box.open || drawn) return;
    drawn = true;
    for (const [name, c] of Object.entries(run.channels)) {
      const [factor, unit] = shown(c.unit, name);
      const here = found.filter((f) => (f.channel === null || f.channel === name) && f.start_s !== null && f.start_s !== undefined && c.time_s);
      const node = h("div", { class: "plot", role: "img", "aria-label": `${name.replaceAll("_", " ")} of run ${run.run}` });
      inner.append(h("figure", {}, node, h("figcaption", {}, here.length ? `Marked: ${here.map((f) => f.kind).join(", ")}` : `${c.rows_held} rows`)));
      const shapes = here.map((f) => ({ type: "rect", xref: "x", yref: "paper", x0: f.start_s, x1: f.end_s ?? f.start_s, y0: 0, y1: 1, layer: "below",
        fillcolor: tint(colour("warn"), 0.25), line: { color: colour("warn"), width: 1.5, dash: "dot" } }));
      plot(node, [{ x: c.time_s ?? c.row, y: c.value.map((v) => (v === null ? null : v * factor)), mode: c.time_s ? "lines" : "markers", line: { color: colour("band"), width: 1.2 } }],
        { x: c.time_s ? "time [s]" : "row", y: unit ? `${name.replaceAll("_", " ")} [${unit}]` : name, height: 200, shapes }).catch((e) => show(node, e.message));
    }
  });
  box.open = open;
  return box;
}

function fitted(place, job) {
  const fits = job.result.fits ?? [];
  const motors = fits.map((f) => f.motor ?? f);
  const q = new URLSearchParams(motors.map((m) => ["motors", m]));
  show(place, h("h2", {}, "Fitted"), h("ul", {}, motors.map((m) => h("li", {}, h("a", { href: `#/motor/${encodeURIComponent(m)}` }, m), " · ", h("a", { href: `#/what-if?motor=${encodeURIComponent(m)}` }, "what if")))),
    motors.length > 1 ? h("p", {}, h("a", { class: "button", href: `#/compare?${q}` }, "Compare them")) : null,
    notes((job.result.warnings ?? []).map((w) => ({ level: "warning", text: w.message ?? String(w) }))));
}
