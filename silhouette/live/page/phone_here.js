// The computer's side of the phone's door: opened and shut here, with the code, the address and the fingerprint.

import { ask } from "./link.js";

const find = (id) => document.getElementById(id);
const LOOK_EVERY = 1500;
let told = null, asking = 0;

const set = (id, words) => { if (find(id).textContent !== words) find(id).textContent = words; };

function show(now) {
  told = now;
  find("shut").hidden = now.on;
  find("wide").hidden = !now.on;
  if (!now.on) return shut(now);
  set("state", now.gone ? "This computer has left the network in which the door stands open. Shut the door, then open it again." : now.paired ? "The door for a phone is open, and a phone is paired." : "The door for a phone is open. No phone is paired yet.");
  find("scan").hidden = find("pairing").hidden = now.paired;
  find("paired").hidden = !now.paired;
  if (find("qr").getAttribute("src") !== now.qr) find("qr").src = now.qr;
  set("url", now.url);
  set("code", now.code ? `${now.code.slice(0, 3)} ${now.code.slice(3)}` : "");
  const minutes = Math.ceil(now.seconds / 60);
  set("lasts", now.code ? `It lets one phone in, once, within ${minutes} ${minutes === 1 ? "minute" : "minutes"}.`
    : now.locked ? "Too many wrong codes were typed. Make a new code." : "The code was too old. Make a new code.");
  const pairs = now.fingerprint.split(":");
  const groups = Array.from({ length: 8 }, (_, k) => pairs.slice(4 * k, 4 * k + 4).join(" "));
  if (find("print").dataset.of !== now.fingerprint) {
    find("print").dataset.of = now.fingerprint;
    find("print").replaceChildren(...groups.flatMap((group) => {
      const span = document.createElement("span");
      span.textContent = group;
      return [span, " "];
    }));
  }
  return null;
}

function shut(now) {
  set("state", "The door for a phone is shut. Only this computer can open these pages.");
  const listed = now.addresses.map((one) => one.address).join();
  if (find("address").dataset.listed !== listed) {
    find("address").dataset.listed = listed;
    find("address").replaceChildren(...now.addresses.map((one) => {
      const words = [one.address, one.card && `(${one.card})`, !one.private && "can be reached from the internet"];
      return new Option(words.filter(Boolean).join(" "), one.address);
    }));
  }
  find("which").hidden = now.addresses.length < 2;
}

async function order(what) {
  asking += 1;
  set("problem", "");
  const answer = await ask("POST", "/api/phone", what);
  asking -= 1;
  if (answer.ok) show(answer.data);
  else set("problem", answer.words);
}

async function look() {
  if (!asking) {
    const answer = await ask("GET", "/api/phone");
    if (answer.ok && !asking) {
      if (!told) set("problem", "");
      show(answer.data);
    } else if (!answer.ok) {
      told = null;
      set("problem", answer.words);
    }
  }
  setTimeout(look, LOOK_EVERY);
}

find("open").addEventListener("click", async () => {
  const many = told && told.addresses.length > 1;
  await order({ on: true, address: many ? find("address").value : "" });
  if (told?.on) find("close").focus();
});
find("close").addEventListener("click", async () => {
  await order({ on: false });
  if (told && !told.on) find("open").focus();
});
find("renew").addEventListener("click", () => order({ code: "new" }));
find("another").addEventListener("click", async () => {
  await order({ pair: "another" });
  find("renew").focus();
});
look();
