// Questions as fast as a slider moves: one at a time, of those that come meanwhile only the newest; a full one gives way.
import { ask } from "./http.js";

const REST_MS = 250;
const MOVING_DRAWS = 600;

// `question(moving)` says what is asked now; `answered` and `failed` are told; `signal` ends all of it.
export function asker(question, answered, failed, signal) {
  let running = null;
  let waiting = null;
  let timer = null;

  async function go(body) {
    if (running) {
      waiting = body;
      // The reader moves on while all draws are asked for: nobody waits for that answer any more.
      if (!running.body.draws) running.control.abort();
      return;
    }
    const mine = { body, control: new AbortController() };
    running = mine;
    const end = () => mine.control.abort();
    signal.addEventListener("abort", end, { once: true });
    try {
      const answer = await ask("/v1/predictions", body, mine.control.signal);
      if (!signal.aborted) await answered(answer, body, () => waiting !== null);
    } catch (error) {
      if (!mine.control.signal.aborted) failed(error);
    }
    signal.removeEventListener("abort", end);
    running = null;
    if (waiting && !signal.aborted) {
      const next = waiting;
      waiting = null;
      go(next);
    }
  }

  // Fewer draws while something moves; all of them once it rests.
  return (rest) => {
    clearTimeout(timer);
    go(rest ? question(false) : { ...question(true), draws: MOVING_DRAWS });
    if (!rest) timer = setTimeout(() => { if (!signal.aborted) go(question(false)); }, REST_MS);
  };
}
