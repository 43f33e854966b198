// The views by their address after the hash, and the settings.
import { choice, field, h, notes, said, say, show } from "./dom.js";
import { adopt, CHOICES, choose, setting, unitsText, wear } from "./units.js";

const VIEWS = {
  "": () => import("./library.js"),
  motor: () => import("./motor.js"),
  "what-if": () => import("./what-if.js"),
  compare: () => import("./compare.js"),
  campaign: () => import("./campaign.js"),
  job: () => import("./job.js"),
};
let leave = null;
let turn = 0;
let shownView = null;
// Where a program would look further; a reader of the page goes on by its links.
const OF_THE_SERVICE = / \/v1\/\S+ lists what (?:it holds|there is)\.$/;

export function address() {
  const [path, query] = location.hash.replace(/^#\/?/, "").split("?");
  const [view, ...rest] = path.split("/");
  const plain = (part) => {
    try {
      return decodeURIComponent(part);
    } catch {
      return part;
    }
  };
  return { view, rest: rest.map(plain), query: new URLSearchParams(query ?? "") };
}

// A control of the view by its kind and label, to find it again when the view is drawn anew.
const labelOf = (node) => node.getAttribute("aria-label") ?? node.labels?.[0]?.textContent ?? node.textContent;
function markOf(node) {
  return node && node.tagName !== "MAIN" && document.getElementById("content").contains(node) ? { tag: node.tagName, label: labelOf(node) } : null;
}
function backTo(place, { tag, label }) {
  [...place.getElementsByTagName(tag)].find((node) => labelOf(node) === label)?.focus({ preventScroll: true });
}

async function draw(moved) {
  if (location.hash && !location.hash.startsWith("#/")) return;
  const mine = ++turn;
  const focused = mine > 1 ? markOf(document.activeElement) : null;
  const [heard, began] = [said(), document.activeElement];
  const same = shownView === address().view;
  leave?.abort();
  leave = new AbortController();
  const main = document.getElementById("content");
  delete main.dataset.ready;
  const { view, rest, query } = address();
  adopt(query.get("units"));
  settle();
  for (const link of document.querySelectorAll(".top nav a")) {
    if (link.getAttribute("href") === `#/${view === "motor" ? "" : view}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  const place = h("div", {});
  try {
    if (!VIEWS[view]) throw new Error("There is no such view. Choose one above.");
    const { draw: drawView } = await VIEWS[view]();
    const ready = drawView(place, { rest, query, signal: leave.signal });
    if (mine === turn && moved) show(main, place);
    await ready;
  } catch (error) {
    if (leave.signal.aborted && mine !== turn) return;
    show(place, h("h1", {}, "That did not work"), notes([{ level: "error", text: error.message.replace(OF_THE_SERVICE, "") }]),
      h("p", {}, "Go on from ", h("a", { href: "#/" }, "the motors"), " or from ", h("a", { href: "#/campaign" }, "a new campaign"), "."));
  }
  if (mine !== turn) return;
  // Put in anew it would lose the focus of a reader who has gone on by keyboard meanwhile.
  if (place.parentNode !== main) show(main, place);
  shownView = view;
  if (same && focused && document.activeElement === document.body) backTo(place, focused);
  const title = place.querySelector("h1")?.textContent ?? "";
  document.title = title ? `${title} · motorfit` : "motorfit";
  // A view the reader went to takes the focus, unless the reader has gone on meanwhile; the first one leaves it at the top.
  if (moved && mine > 1) {
    if ([began, document.body].includes(document.activeElement) && !main.contains(began)) main.focus({ preventScroll: true });
    if (said() === heard) say(title); // else the view has said more of itself
  }
  main.dataset.ready = String(turn);
}

function settings() {
  const row = Object.entries(CHOICES).map(([name, { title, options }]) =>
    h("p", {}, field(title, choice(options, setting(name), (value) => choose(name, value), { "data-setting": name }))));
  const looks = [["auto", "as the device"], ["light", "light"], ["dark", "dark"]];
  show(document.getElementById("settings"), row, h("p", {}, field("Look", choice(looks, setting("look"), (v) => choose("look", v)))));
}

// What is in force, an address may have changed; the boxes stay, and the focus in them.
function settle() {
  for (const box of document.querySelectorAll("[data-setting]")) box.value = setting(box.dataset.setting);
}

// The box of settings closes as such boxes do.
const box = document.querySelector(".settings");
document.addEventListener("keydown", (event) => { if (event.key === "Escape" && box.open) { box.open = false; box.querySelector("summary").focus(); } });
document.addEventListener("pointerdown", (event) => { if (!box.contains(event.target)) box.open = false; });

wear();
settings();
document.getElementById("skip").addEventListener("click", (event) => {
  event.preventDefault();
  document.getElementById("content").focus();
});
window.addEventListener("hashchange", () => { window.scrollTo(0, 0); draw(true); });
window.addEventListener("units", () => {
  const { query } = address();
  if (query.has("units")) {
    query.set("units", unitsText());
    history.replaceState(null, "", `${location.hash.split("?")[0]}?${query}`);
  }
  draw(false);
});
// The plotting script is large; it comes while the reader looks at the first view, and is taken from the cache later.
const rest = window.requestIdleCallback ?? ((act) => setTimeout(act, 1000));
draw(true).then(() => rest(() => fetch(document.querySelector('meta[name="plot-script"]').content, { priority: "low" }).then((answer) => answer.arrayBuffer()).catch(() => {})));
