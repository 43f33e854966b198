// Requests to the service this page came from: problems as errors, events as they come, a token where one is asked for.
import { h } from "./dom.js";

const KEY = "motorfit-token";
const seen = new Map();

export class Problem extends Error {
  constructor(body, status) {
    super(body?.detail ?? `The service answered ${status}.`);
    this.status = status;
    this.body = body ?? {};
  }
}

function headers(more) {
  const token = sessionStorage.getItem(KEY);
  return token ? { ...more, Authorization: `Bearer ${token}` } : { ...more };
}

function askToken() {
  return new Promise((resolve) => {
    const input = h("input", { type: "password", autocomplete: "off", required: true });
    const box = h("dialog", { "aria-label": "Token" }, h("form", { method: "dialog" },
      h("p", {}, "This service asks for a token. It is kept until this tab is closed."),
      h("label", {}, "Token", input), " ", h("button", { class: "main" }, "Go on")));
    box.addEventListener("close", () => { box.remove(); resolve(input.value.trim()); });
    document.body.append(box);
    box.showModal();
  });
}

let asking = null;
async function send(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { ...options, headers: headers(options.headers) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({ detail: "The service does not answer. Is it still running?" }, 0);
  }
  if (answer.status === 401) {
    asking ??= askToken().finally(() => { asking = null; });
    const token = await asking;
    if (token) {
      sessionStorage.setItem(KEY, token);
      return send(path, options);
    }
  }
  if (!answer.ok) throw new Problem(await answer.json().catch(() => null), answer.status);
  return answer;
}

export async function get(path) {
  return (await send(path)).json();
}

// Stored fits do not change, so what was asked of one is asked once.
export function getOnce(path) {
  if (!seen.has(path)) seen.set(path, get(path).catch((error) => { seen.delete(path); throw error; }));
  return seen.get(path);
}

export async function pages(path, name) {
  const found = [];
  for (;;) {
    const body = await get(`${path}?offset=${found.length}&limit=500`);
    found.push(...body[name]);
    if (!body[name].length || found.length >= body.total) return found;
  }
}

export async function ask(path, question, signal) {
  const options = { method: "POST", body: JSON.stringify(question), headers: { "Content-Type": "application/json" }, signal };
  return (await send(path, options)).json();
}

export async function upload(path, campaign, logs, key) {
  const form = new FormData();
  form.append("campaign", campaign, campaign.name || "campaign.toml");
  for (const log of logs) form.append("logs", log, log.name);
  return (await send(path, { method: "POST", body: form, headers: { "Idempotency-Key": key } })).json();
}

export async function post(path, key) {
  return (await send(path, { method: "POST", headers: { "Idempotency-Key": key } })).json();
}

export async function cancel(job) {
  return (await send(`/v1/jobs/${encodeURIComponent(job)}`, { method: "DELETE" })).json();
}

// Fetched rather than left to the browser's own reader of events, which cannot carry a token.
export async function follow(job, tell, signal) {
  let last = "0";
  for (;;) {
    try {
      const answer = await send(`/v1/jobs/${encodeURIComponent(job)}/events`, { headers: { "Last-Event-ID": last }, signal });
      const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
      let held = "";
      for (;;) {
        const { value, done } = await reader.read();
        if (done) break;
        held += value;
        const parts = held.split("\n\n");
        held = parts.pop();
        for (const part of parts) {
          const event = Object.fromEntries(part.split("\n").map((line) => line.split(/: (.*)/s).slice(0, 2)));
          if (event.id) last = event.id;
          if (!event.event) continue;
          tell(event.event, JSON.parse(event.data));
          if (event.event === "end") return;
        }
      }
    } catch (error) {
      if (signal?.aborted) return;
      if (error.status >= 400 && error.status < 500) throw error;
      tell("lost", null);
    }
    await new Promise((resolve) => setTimeout(resolve, 1000));
    if (signal?.aborted) return;
  }
}

export function save(content, name) {
  const place = URL.createObjectURL(content);
  h("a", { href: place, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(place), 10_000);
}

export async function download(path, name, accept) {
  const answer = await send(path, accept ? { headers: { Accept: accept } } : {});
  save(await answer.blob(), name);
}
