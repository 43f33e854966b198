// A maker's table as text, a header and a row for each point, to the columns that the service asks for.
const G = 9.80665e-3;
const COLUMNS = {
  voltage_v: { names: /^(bus[ _]?)?volt/i, title: "voltage", units: { V: 1, mV: 1e-3 } },
  throttle: { names: /^throttle/i, title: "throttle", units: { "%": 0.01, 1: 1 } },
  speed_rpm: { names: /^(speed|rpm)/i, title: "speed", units: { rpm: 1, "rad/s": 30 / Math.PI, "1/min": 1 } },
  thrust_n: { names: /^thrust/i, title: "thrust", units: { N: 1, g: G, gf: G, kg: 1000 * G, kgf: 1000 * G } },
  current_a: { names: /^(bus[ _]?)?curr/i, title: "current", units: { A: 1, mA: 1e-3 } },
  torque_nm: { names: /^torque/i, title: "torque", units: { "N m": 1, "N·m": 1, Nm: 1, "mN m": 1e-3, "mN·m": 1e-3, mNm: 1e-3 } },
};
const NEEDED = ["voltage_v", "throttle"];

// “thrust [g]”, “thrust (g)” or “thrust_g”.
function columnOf(head) {
  const [, plain, unit] = /^(.*?)\s*[[(]\s*([^\])]+?)\s*[\])]\s*$/.exec(head) ?? /^([A-Za-z ]+)_([^_]+)$/.exec(head) ?? [null, head, undefined];
  const key = Object.keys(COLUMNS).find((name) => COLUMNS[name].names.test(plain.trim()));
  if (!key) return null;
  const { units, title } = COLUMNS[key];
  const known = Object.keys(units).find((name) => name.toLowerCase() === (unit ?? "").toLowerCase());
  if (!known) throw new Error(`Maker's table, column “${head}”: ${unit ? `“${unit}” is no unit of ${title}` : "it says no unit"}. Write it in the header, as “${title} [${Object.keys(units)[0]}]”; allowed are ${Object.keys(units).join(", ")}.`);
  return { key, factor: units[known] };
}

export function claimedRows(text) {
  const lines = text.replace(/^\uFEFF/, "").split(/\r?\n/).map((line) => line.trim()).filter((line) => line && !line.startsWith("#"));
  if (lines.length < 2) throw new Error("Maker's table: write a header, as “voltage [V], throttle [%], thrust [g]”, and a row for each point.");
  const separator = ["\t", ";", ","].find((sign) => lines[0].includes(sign)) ?? /\s{2,}/;
  const cells = lines.map((line) => line.split(separator).map((cell) => cell.trim().replace(/^"|"$/g, "")));
  const columns = cells[0].map(columnOf);
  const found = {};
  for (const [at, column] of columns.entries()) {
    if (!column) continue;
    if (found[column.key]) throw new Error(`Maker's table: two columns of ${COLUMNS[column.key].title}. Leave one out.`);
    found[column.key] = cells.slice(1).map((row, k) => {
      const cell = row[at] ?? "";
      if (cell === "" && !NEEDED.includes(column.key)) return null;
      const value = Number(separator === "," ? cell : cell.replace(",", "."));
      if (cell === "" || !Number.isFinite(value)) throw new Error(`Maker's table, row ${k + 1}, ${COLUMNS[column.key].title}: “${cell}” is no number.`);
      return value * column.factor;
    });
  }
  const missing = NEEDED.filter((name) => !found[name]).map((name) => COLUMNS[name].title);
  if (missing.length) throw new Error(`Maker's table: a column of ${missing.join(" and one of ")} is missing. Add it, as “${missing[0]} [${Object.keys(COLUMNS[NEEDED.find((n) => !found[n])].units)[0]}]”.`);
  return found;
}
