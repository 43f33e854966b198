// Elements are made here and nowhere else; text goes in as text, so that no name can become markup.
const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [key, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked" || key === "selected" || key === "disabled") node[key] = value;
    else node.setAttribute(key, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : String(child));
  }
  return node;
}

export const h = (name, attributes, ...children) => fill(document.createElement(name), attributes, children);
export const s = (name, attributes, ...children) => fill(document.createElementNS(SVG, name), attributes, children);

export function show(node, ...children) {
  node.replaceChildren(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
}

export const said = () => document.getElementById("said").textContent;
export function say(text) {
  document.getElementById("said").textContent = text;
}

export function field(label, control, hint) {
  return h("label", { title: hint }, label, control);
}

export function choice(options, value, onchange, attributes) {
  const node = h("select", { ...attributes, onchange: (event) => onchange?.(event.target.value) });
  for (const option of options) {
    const [key, text] = Array.isArray(option) ? option : [option, option];
    node.append(h("option", { value: key, selected: key === value }, text));
  }
  return node;
}

const KINDS = { error: "Error", warning: "Caution" };
// A word tells the level, not its colour alone; errors are read out at once.
export function notes(items) {
  if (!items.length) return null;
  const urgent = items.some(({ level }) => level === "error");
  return h("ul", { class: "notes" }, items.map(({ level, kind, text }) =>
    h("li", { class: level ?? "note" }, kind ?? KINDS[level] ? [h("span", { class: "kind" }, kind ?? KINDS[level]), " "] : null, h("span", { role: urgent && level === "error" ? "alert" : null }, text))));
}

export function facts(pairs) {
  return h("dl", { class: "facts" }, pairs.filter(([, value]) => value !== null && value !== undefined && value !== "")
    .map(([key, value]) => [h("dt", {}, key), h("dd", {}, value)]));
}
