// The campaign being written, with its files, kept in the browser until it is cleared: nothing is lost on a reload.
const NAME = "motorfit-draft";

function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore("drafts");
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function transact(mode, act) {
  const base = await open();
  return new Promise((resolve, reject) => {
    const transaction = base.transaction("drafts", mode);
    const request = act(transaction.objectStore("drafts"));
    transaction.oncomplete = () => { base.close(); resolve(request.result); };
    transaction.onerror = () => { base.close(); reject(transaction.error); };
  });
}

export const empty = () => ({ files: [], form: { title: "", bench: "", air: { temperature_c: "", pressure_hpa: "", humidity_pct: "" },
  controller: { resistance_ohm: "", current_limit_a: "" }, motors: [], propellers: [], flywheels: [], runs: [] } });

export async function read() {
  try {
    return (await transact("readonly", (store) => store.get("campaign"))) ?? empty();
  } catch {
    return empty();
  }
}

export async function keep(draft) {
  try {
    await transact("readwrite", (store) => store.put(draft, "campaign"));
    return true;
  } catch {
    return false;
  }
}

export const clear = () => transact("readwrite", (store) => store.delete("campaign"));
