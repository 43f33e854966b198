// The first rows of a log, for a look while its columns are named. What is read in the end, the service reads.
const HEAD_BYTES = 256 * 1024;
const CHANNELS = ["time", "throttle", "voltage", "current", "speed", "thrust", "torque", "motor_current", "motor_voltage", "winding_temperature"];
export { CHANNELS };
export const UNITS = { time: ["", "s", "ms", "us"], throttle: ["", "%", "1", "us"], voltage: ["", "V"], current: ["", "A", "mA"], speed: ["", "rpm", "eRPM", "rad/s", "rev/s", "Hz"],
  thrust: ["", "N", "gf", "kgf", "ozf", "lbf"], torque: ["", "N m", "mN m", "gf cm", "kgf cm", "ozf in"], motor_current: ["", "A", "mA"], motor_voltage: ["", "V"], winding_temperature: ["", "degC", "K", "degF"] };
const SIGNS = { time: /^(time|t)\b/i, throttle: /throttle|pwm/i, voltage: /^(bus[ _]?)?volt/i, current: /^(bus[ _]?)?curr|^i\b/i, speed: /rpm|speed/i, thrust: /thrust/i, torque: /torque/i,
  motor_current: /(motor|phase)[ _]?curr/i, motor_voltage: /motor[ _]?volt/i, winding_temperature: /temp/i };

async function text(file) {
  let stream = file.slice(0, HEAD_BYTES).stream();
  if (/\.gz$/i.test(file.name)) {
    // The end of the piece cuts the packed stream short, so what came before is taken and the rest let go.
    stream = file.stream().pipeThrough(new DecompressionStream("gzip"));
  }
  const reader = stream.getReader();
  const parts = [];
  let size = 0;
  while (size < HEAD_BYTES) {
    const { value, done } = await reader.read();
    if (done) break;
    parts.push(value);
    size += value.length;
  }
  reader.cancel().catch(() => {});
  const bytes = new Uint8Array(await new Blob(parts).arrayBuffer());
  const wide = (bytes[0] === 0xff && bytes[1] === 0xfe) || (bytes[0] === 0xfe && bytes[1] === 0xff);
  return new TextDecoder(wide ? (bytes[0] === 0xff ? "utf-16le" : "utf-16be") : "utf-8").decode(bytes);
}

const number = (cell) => Number(cell.includes(".") ? cell : cell.replace(",", "."));

// Resolves to {columns, rows} or to null where only the service can read the form.
export async function head(file) {
  if (/\.(parquet|xlsx|nc)$/i.test(file.name)) return null;
  let lines;
  try {
    lines = (await text(file)).replace(/^\uFEFF/, "").split(/\r?\n/).filter((line) => line.trim() && !line.trim().startsWith("#"));
  } catch {
    return null;
  }
  if (lines.length < 2) return null;
  const separator = ["\t", ";", ","].find((sign) => lines[0].includes(sign) || lines[1].includes(sign)) ?? /\s+/;
  const cells = lines.map((line) => line.trim().split(separator).map((cell) => cell.trim().replace(/^"|"$/g, "")));
  const numeric = (row) => row.filter((cell) => cell !== "" && Number.isFinite(number(cell))).length > row.length / 2;
  const first = cells.findIndex(numeric);
  if (first < 0) return null;
  const named = first > 0 ? cells[0] : null;
  const columns = (named ?? cells[first].map((_, k) => k + 1)).map((name) => (named ? name : Number(name)));
  return { columns, rows: cells.slice(first).filter(numeric), number };
}

export function guess(columns) {
  const found = {};
  for (const channel of CHANNELS) {
    const column = columns.find((name) => typeof name === "string" && SIGNS[channel].test(name.trim()) && !Object.values(found).includes(name));
    if (column !== undefined) found[channel] = column;
  }
  return found;
}
