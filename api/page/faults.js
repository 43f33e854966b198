// Faults of a campaign file: by the names the form gave, where the file was written by the form.
const KEY = (job) => `motorfit-names-${job}`;
const ONE = { runs: "run", motors: "motor", propellers: "propeller", flywheels: "flywheel" };

// What stood at which place of the file, kept as long as the tab.
export function remember(job, form) {
  const names = Object.fromEntries(Object.keys(ONE).map((list) => [list, form[list].map((item) => item.id ?? "")]));
  try {
    sessionStorage.setItem(KEY(job), JSON.stringify(names));
  } catch {
    // Without a store faults are told by their place in the file.
  }
}

function namesOf(job) {
  try {
    return JSON.parse(sessionStorage.getItem(KEY(job)) ?? "null");
  } catch {
    return null;
  }
}

// “runs[0].motor” of the file is “run dunlin-ramp, motor” of the form.
function placed(text, names) {
  if (!names) return text;
  return String(text).replace(/\b(runs|motors|propellers|flywheels)\[(\d+)\](?:\.([a-z_]+))?/g, (all, list, index, key) => {
    const name = names[list]?.[Number(index)];
    if (name === undefined) return all;
    return `${ONE[list]} ${name || Number(index) + 1}${key ? `, ${key.replaceAll("_", " ")}` : ""}`;
  });
}

// Sections of the file in the words of the form: “one [[motors]] table or more” is one motor or more.
const sections = (text, names) => (names ? String(text).replace(/\[\[(runs|motors|propellers|flywheels)\]\] table/g, (all, list) => ONE[list]) : text);

// As notes: where, what stands there, what is allowed, how to mend it.
export function faultsOf(job, faults) {
  const names = namesOf(job);
  return faults.map((f) => {
    const allowed = f.allowed === "it is required" ? f.allowed : `allowed: ${f.allowed}`;
    // What is missing on the service's disk was not sent.
    const text = f.message ?? (f.allowed === "a file that exists" ? `${f.value} is not among the files sent; drop it with the others. ${f.remedy}`
      : `${f.value === "(missing)" ? "Missing" : f.value}; ${allowed}. ${f.remedy}`);
    return { level: "error", kind: placed(f.at ?? f.path, names), text: sections(placed(text, names), names) };
  });
}
