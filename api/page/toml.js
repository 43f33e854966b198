// The campaign file that a filled form says. What it means, the service judges.
const text = (value) => JSON.stringify(String(value)).replaceAll("\u007f", "\\u007f");
const given = (value) => value !== "" && value !== null && value !== undefined;

function line(key, value) {
  if (!given(value)) return [];
  return [`${key} = ${typeof value === "number" ? value : text(value)}`];
}
// As typed: 1.20 stays 1.20; what is no number goes in as text, for the service to say what is wrong with it.
function amount(key, value) {
  if (!given(value)) return [];
  const plain = String(value).trim();
  return [`${key} = ${/^[+-]?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?$/.test(plain) ? plain : text(plain)}`];
}

function table(name, lines) {
  const kept = lines.flat();
  return kept.length ? ["", `[${name}]`, ...kept] : [];
}

export function toml(form) {
  const out = ["format = 1", ...line("title", form.title)];
  out.push(...table("air", ["temperature_c", "pressure_hpa", "humidity_pct"].map((key) => amount(key, form.air[key]))));
  out.push(...table("bench", [line("name", form.bench)]));
  out.push(...table("bench.controller", ["resistance_ohm", "current_limit_a"].map((key) => amount(key, form.controller[key]))));
  const listed = (name, items, words, amounts) => items.forEach((item) => out.push("", `[[${name}]]`, ...words.flatMap((k) => line(k, item[k])), ...amounts.flatMap((k) => amount(k, item[k]))));
  listed("motors", form.motors, ["id"], ["mass_g", "pole_pairs", "label_kv"]);
  listed("propellers", form.propellers, ["id"], ["diameter_in", "pitch_in", "diameter_mm", "pitch_mm", "blades", "mass_g"]);
  listed("flywheels", form.flywheels, ["id"], ["inertia_kg_m2", "inertia_sd_kg_m2"]);
  for (const run of form.runs) {
    out.push("", "[[runs]]", ...line("id", run.id), ...line("motor", run.motor), ...line("kind", run.kind), ...line("file", run.file), ...line("propeller", run.propeller), ...line("flywheel", run.flywheel));
    const columns = Object.entries(run.columns ?? {}).filter(([, c]) => given(c.column)).map(([channel, c]) => {
      const parts = [`column = ${typeof c.column === "number" ? c.column : text(c.column)}`];
      if (given(c.unit)) parts.push(`unit = ${text(c.unit)}`);
      if (c.sign === -1) parts.push("sign = -1");
      return `${channel} = { ${parts.join(", ")} }`;
    });
    if (columns.length) out.push("[runs.columns]", ...columns);
  }
  return `${out.join("\n")}\n`;
}
