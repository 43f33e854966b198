// A new campaign: files dropped, or written by form; what is entered stays in this browser until it is cleared.
import { h, notes, show } from "./dom.js";
import { clear, empty, keep, read } from "./draft.js";
import { remember } from "./faults.js";
import { formOf } from "./campaign-form.js";
import { pages, save, upload } from "./http.js";
import { toml } from "./toml.js";
import { moment } from "./units.js";

const KINDS = /\.toml$/i;
const KIND = { check: "Check", fit: "Fit", holdout: "Hold-out" };
const WHOLE = /\.(zip|tar\.gz|tgz)$/i;

async function keyOf(kind, campaign, logs) {
  // The same files are the same job, however often the button is pressed.
  const parts = [kind, ...[campaign, ...logs].map((f) => `${f.name} ${f.size} ${f.lastModified}`), await campaign.slice(0, 1 << 20).text()];
  let sum = 0xcbf29ce484222325n;
  for (const byte of new TextEncoder().encode(parts.join("\n"))) sum = ((sum ^ BigInt(byte)) * 0x100000001b3n) & 0xffffffffffffffffn;
  return `page-${kind}-${sum.toString(16)}`;
}

export async function draw(place, { signal }) {
  const draft = await read();
  let timer = null;
  const state = h("p", { class: "quiet" }, "What you enter stays in this browser, over reloads, until you clear it.");
  const changed = () => {
    clearTimeout(timer);
    timer = setTimeout(async () => { if (!(await keep(draft))) state.textContent = "This browser keeps no drafts: do not reload before you have sent it."; }, 150);
    preview();
  };
  const list = h("ul", { "aria-label": "Files" });
  const told = h("div", { "aria-live": "polite" });
  const text = h("pre", { class: "scroll", tabindex: 0, "aria-label": "Campaign file as the form says it" });
  const byForm = h("div", {});
  const picker = h("input", { type: "file", multiple: true, "aria-label": "Files of the campaign", onchange: () => take(picker.files) });
  const drop = h("div", { class: "drop" }, h("p", {}, "Drop the logs here, with the campaign file (TOML) if you have one, or one zip of all."), picker);
  drop.addEventListener("dragover", (event) => { event.preventDefault(); drop.classList.add("over"); });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => { event.preventDefault(); drop.classList.remove("over"); take(event.dataTransfer.files); });
  const written = () => draft.files.find((f) => KINDS.test(f.name)) ?? draft.files.find((f) => WHOLE.test(f.name));

  function preview() { text.textContent = toml(draft.form); }
  function take(files) {
    for (const file of files) {
      draft.files = draft.files.filter((f) => f.name !== file.name);
      draft.files.push(file);
    }
    picker.value = "";
    refresh();
    changed();
  }
  function refresh() {
    show(list, draft.files.map((file, k) => h("li", {}, file.name, h("span", { class: "quiet" }, ` ${Math.ceil(file.size / 1024)} kB `),
      h("button", { class: "small", "aria-label": `Remove ${file.name}`, onclick: () => { draft.files = draft.files.filter((f) => f !== file);
        draft.form.runs = draft.form.runs.filter((r) => r.file !== file.name); refresh(); changed();
        (list.querySelectorAll("button")[Math.min(k, draft.files.length - 1)] ?? picker).focus(); } }, "Remove"))));
    if (written()) return show(byForm, h("p", {}, h("strong", {}, written().name), " describes the campaign. Remove it to write one by form instead."));
    for (const file of draft.files) {
      if (draft.form.runs.some((r) => r.file === file.name)) continue;
      const id = file.name.replace(/(\.[A-Za-z]+)+$/, "").replace(/[^A-Za-z0-9._-]+/g, "-").replace(/^[-.]+/, "") || "run";
      const kind = ["no-load", "spin-up", "coast-down", "steps", "hold", "ramp", "table"].find((k) => id.toLowerCase().includes(k)) ?? "ramp";
      draft.form.runs.push({ id, file: file.name, motor: draft.form.motors[0]?.id ?? "", kind, propeller: "", flywheel: "", columns: {} });
    }
    show(byForm, formOf(draft, changed), h("details", {}, h("summary", {}, "The campaign file this makes"), text,
      h("p", {}, h("button", { onclick: () => save(new Blob([toml(draft.form)]), "campaign.toml") }, "Save it"), " Dropped here with the logs it takes the place of the form.")));
    preview();
    return undefined;
  }
  async function send(kind) {
    const found = written();
    const campaign = found ?? new File([toml(draft.form)], "campaign.toml", { lastModified: 0 });
    const logs = found && WHOLE.test(found.name) ? [] : draft.files.filter((f) => f !== found);
    show(told, h("p", {}, "Sending …"));
    buttons.forEach((b) => { b.disabled = true; });
    try {
      await keep(draft);
      const job = await upload(kind === "check" ? "/v1/checks" : "/v1/campaigns", campaign, logs, await keyOf(kind, campaign, logs));
      if (!found) remember(job.job, draft.form);
      if (!signal.aborted) location.hash = `#/job/${job.job}`;
    } catch (error) {
      const faults = (error.body?.faults ?? []).map((f) => ({ level: "error", kind: f.at, text: f.message }));
      show(told, notes([{ level: "error", kind: "Not taken", text: error.message }, ...faults]));
    }
    buttons.forEach((b) => { b.disabled = false; });
  }
  const buttons = [h("button", { class: "main", onclick: () => send("check") }, "Check"), h("button", { onclick: () => send("fit") }, "Fit without a look"),
    h("button", { onclick: async () => { if (confirm("Forget the files and everything entered?")) { await clear(); Object.assign(draft, empty()); refresh(); preview(); } } }, "Clear")];
  const earlier = h("section", {});
  show(place, h("h1", {}, "New campaign"), state, drop, list, byForm, h("div", { class: "row" }, buttons), told, earlier);
  refresh();
  try {
    const jobs = (await pages("/v1/jobs", "jobs")).slice(0, 12);
    if (jobs.length) show(earlier, h("h2", {}, "Earlier jobs"), h("ul", {}, jobs.map((j) => h("li", {}, h("a", { href: `#/job/${j.job}` }, `${KIND[j.kind] ?? j.kind} of ${moment(j.created)}`), ` · ${j.state}`))));
  } catch (error) {
    show(earlier, notes([{ level: "error", text: error.message }]));
  }
}
