// Fewer points that look the same: of each span of rows its first, least, greatest and last, as the service thins curves.
const PER_SPAN = 4;

// Rows to draw, rising; where a value is no number, its row is left out.
export function thin(values, most = 800) {
  const finite = values.flatMap((v, k) => (Number.isFinite(v) ? [k] : []));
  if (finite.length <= most) return finite;
  const spans = Math.floor(most / PER_SPAN);
  const kept = new Set();
  for (let span = 0; span < spans; span += 1) {
    const part = finite.slice(Math.floor((span * finite.length) / spans), Math.floor(((span + 1) * finite.length) / spans));
    let [least, greatest] = [part[0], part[0]];
    for (const k of part) {
      if (values[k] < values[least]) least = k;
      if (values[k] > values[greatest]) greatest = k;
    }
    for (const k of [part[0], least, greatest, part.at(-1)]) kept.add(k);
  }
  return [...kept].sort((a, b) => a - b);
}
