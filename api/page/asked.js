// What the service refuses of a question, by the labels of the page instead of the names of its fields.
import { worded } from "./units.js";

const LABELS = { voltage: "Voltage", cells: "Cells in series", capacity_mah: "Capacity [mAh]", motors: "Motors", propeller: "Propeller", max_propeller_speed_rpm: "The maker's speed limit",
  mass_g: "All-up mass of the aircraft [g]", motors_of_aircraft: "Motors that carry it" };

export const refusal = (error) => worded(error.message)
  .replace(/\bbody\.([a-z_]+)(?:\.[\w.]+)?: Input should be /g, (all, key) => `${LABELS[key] ?? key.replaceAll("_", " ")} should be `).replace(/\bbody\./g, "");

// A number of the address; one that is none, or beyond what can be asked, is refused rather than replaced in silence.
export function numberOf(query, name, label, low, high) {
  const text = query.get(name);
  if (text === null) return null;
  const value = Number(text);
  if (text.trim() === "" || !(value >= low && value <= high)) throw new Error(`${label} of this address is “${text}”; allowed are ${low} to ${high}. Mend it in the address, or choose What if above.`);
  return value;
}
