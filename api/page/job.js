// A job from its address: progress as it comes, then findings on the curves where they occur, or the motors fitted.
import { h, notes, say, show } from "./dom.js";
import { faultsOf } from "./faults.js";
import { cancel, follow, get, post } from "./http.js";
import { counted, curves as drawCurves, told as findings } from "./job-curves.js";
import { library } from "./plot.js";
import { words } from "./names.js";
import { worded } from "./units.js";

const ENDED = ["done", "failed", "cancelled"];

export async function draw(place, { rest, signal }) {
  const id = rest[0] ?? "";
  let job = await get(`/v1/jobs/${encodeURIComponent(id)}`);
  const heading = job.kind === "check" ? "Check" : job.kind === "fit" ? "Fit" : "Hold-out";
  const bar = h("progress", { max: 1, value: job.progress, "aria-label": "Share of the work done" });
  const stage = h("p", { "data-state": job.state });
  const share = h("p", { class: "quiet" });
  const stop = h("button", { onclick: () => cancel(id).catch((e) => show(problem, notes([{ level: "error", text: e.message }]))) }, "Cancel");
  const problem = h("div", {});
  const result = h("div", {});
  show(place, h("h1", {}, heading), h("p", { class: "quiet" }, "This address keeps the job: reload it, or come back later."), stage, bar, share, h("p", {}, stop), problem, result);
  function tell() {
    stage.dataset.state = job.state;
    const before = stage.textContent;
    stage.textContent = { queued: "Waits for its turn.", done: "Done.", failed: "Failed.", cancelled: "Cancelled." }[job.state] ?? `${job.stage || "Begins"} …`;
    if (stage.textContent !== before) say(stage.textContent);
    bar.value = ENDED.includes(job.state) ? 1 : job.progress;
    share.textContent = `${Math.round(100 * job.progress)} % of the work`;
    share.hidden = stop.hidden = bar.hidden = ENDED.includes(job.state);
  }
  function end() {
    tell();
    if (job.problem) {
      const faults = faultsOf(id, job.problem.faults ?? []);
      show(problem, notes([{ level: "error", kind: job.problem.title, text: job.problem.detail }, ...faults]), findings(job.problem.findings ?? []), back());
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

const TAUGHT = { weakly: "taught weakly", not: "not taught" };
const sentence = (text) => `${text[0].toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
const back = () => h("p", {}, h("a", { href: "#/campaign" }, "Back to the campaign; its draft is kept."));

async function checked(place, job, id) {
  const r = job.result;
  const faults = faultsOf(id, r.faults ?? []);
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
  const list = r.findings ?? [];
  const first = faults.length ? "It cannot be fitted before its campaign is mended:" : list.length
    ? `${counted(list)} ${r.ok ? "It can be fitted; look at them first." : "It cannot be fitted before its errors are mended."}` : "Nothing odd was found.";
  show(place, h("h2", {}, r.campaign ?? "Campaign"), h("p", {}, first), faults.length ? notes(faults) : null, findings(list, curves),
    r.ok ? h("p", {}, fit) : null, told, back(),
    r.assumptions?.length ? [h("h2", {}, "Assumed"), h("ul", {}, r.assumptions.map((t) => h("li", {}, sentence(worded(t)))))] : null,
    weak.length ? [h("h2", {}, "What these runs teach weakly or not at all"), h("ul", {}, weak.map((t) => h("li", {}, h("strong", {}, `${words(t.parameter)} of ${t.of}`), `, ${TAUGHT[t.strength] ?? t.strength}. What would teach it: ${worded(t.advice)}.`)))] : null, curves);
  try {
    library().catch(() => {}); // Begins to come with the curves; who draws with it tells of a failure.
    const { runs } = await get(`/v1/jobs/${encodeURIComponent(id)}/curves`);
    drawCurves(curves, runs, list);
    // A log that could not be read at all has no curve to lead to.
    for (const button of place.querySelectorAll("[data-leads]")) button.hidden = !runs.some((run) => run.run === button.dataset.leads);
  } catch (error) {
    curves.append(h("p", { class: "quiet" }, error.message));
    for (const button of place.querySelectorAll("[data-leads]")) button.hidden = true;
  }
}

function fitted(place, job) {
  const fits = job.result.fits ?? [];
  const motors = fits.map((f) => f.motor ?? f);
  const warned = (job.result.warnings ?? []).map((w) => ({ level: "warning", text: worded(w.message ?? String(w)) }));
  const q = new URLSearchParams(motors.map((m) => ["motors", m]));
  show(place, h("h2", {}, "Fitted"), h("ul", {}, motors.map((m) => h("li", {}, h("a", { href: `#/motor/${encodeURIComponent(m)}` }, m), " · ", h("a", { href: `#/what-if?motor=${encodeURIComponent(m)}` }, "what if")))),
    motors.length > 1 ? h("p", {}, h("a", { class: "button", href: `#/compare?${q}` }, "Compare them")) : null,
    warned.length ? [h("h2", {}, `What its logs were warned of (${warned.length})`), notes(warned)] : null);
}
